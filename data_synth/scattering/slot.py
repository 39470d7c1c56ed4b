"""Echo of a slot (edge notch, undercut, lack of fusion): line spring plus removed mass.

The local answer is a closed form: what a slot of one depth adds to the sheet's give
(compliance) and takes from its mass. How the parts of the slot act on each other along
the seam is solved, so that the two ends answer as edges do, one more strongly than the
other in a tilted beam.

References
----------
Static compliance of an edge crack under anti-plane shear, (4h/pi) ln sec(pi d / 2h):
textbook fracture mechanics (from memory). Line springs: J. R. Rice and N. Levy, *The
part-through surface crack in an elastic plate*, J. Appl. Mech. 39 (1972), from memory.
"""

from __future__ import annotations

from math import cos, log, pi

import numpy as np
from scipy.linalg import toeplitz

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.scattering.line_spring import MAX_HATS, jump_operator
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError

__all__ = ["OPENING_SHARE", "TIP_EXTENSION_MM", "compliance_mm", "removed_mass_reflection", "slot_echo"]


OPENING_SHARE = 0.7
"""Give in opening over give in sliding, about 1 - Poisson's ratio."""
TIP_EXTENSION_MM = 0.2
"""How far a slot acts beyond each of its ends; fitted to full-wave results."""

_THROUGH_SHARE = 0.999


def compliance_mm(depth_mm: float, width_mm: float, thickness_mm: float) -> float:
    """Jump over stress of a slot: a crack's give plus that of the thinner sheet beside it.

    Infinite when the slot goes through.

    Examples
    --------
    >>> round(compliance_mm(0.63, 0.3, 1.4), 4)
    0.7337
    """
    if depth_mm >= _THROUGH_SHARE * thickness_mm:
        return float("inf")
    crack = 4 * thickness_mm / pi * log(1 / cos(pi * depth_mm / (2 * thickness_mm)))
    return crack + width_mm * depth_mm / (thickness_mm - depth_mm)


def removed_mass_reflection(
    depth_mm: float, width_mm: float, thickness_mm: float, k_per_mm: float
) -> complex:
    """Reflection by the mass that the slot took away."""
    half = -0.5j * k_per_mm * width_mm * min(depth_mm / thickness_mm, 1.0)
    return half / (1 - half)


def slot_echo(slot: Slot, joint: Joint, head: Head, channel: Channel, positions_mm: Floats) -> Complex:
    """Echo of a slot at every scan position, shape (n,), unscaled.

    Raises
    ------
    SeamtellError
        The slot is longer than the table of jumps reaches.
    """
    xi_of = positions_mm - head.axis_offset_mm(channel)
    return _sliding_and_opening(slot, joint, head, channel, xi_of) + _mass(slot, joint, head, channel, xi_of)


def _spacing_mm(length_mm: float) -> float:
    """Hat spacing: fine for short slots; few fixed values, so that tables are shared."""
    if length_mm <= 5:
        return 0.1
    return 0.2 if length_mm <= 10 else 0.4


def _hats(slot: Slot) -> tuple[Floats, float]:
    """Positions of the hats from the slot's centre, and their spacing; the length is rounded to it."""
    length = slot.length_mm + 2 * TIP_EXTENSION_MM
    spacing = _spacing_mm(length)
    n = max(round(length / spacing), 4) - 1
    if n > MAX_HATS:
        raise SeamtellError(
            f"slot of {slot.length_mm:.0f} mm, expected at most {MAX_HATS * spacing:.0f} mm",
            do="make it two slots end to end",
        )
    middle = (slot.depth_points_mm[0][0] + slot.depth_points_mm[-1][0]) / 2
    return middle + spacing * (np.arange(n) - (n - 1) / 2), spacing


def _sliding_and_opening(slot: Slot, joint: Joint, head: Head, channel: Channel, at_mm: Floats) -> Complex:
    offsets, spacing = _hats(slot)
    points = np.array(slot.depth_points_mm)
    depth = np.interp(offsets, points[:, 0], points[:, 1])
    give = np.array([compliance_mm(d, slot.width_mm, joint.mean_mm) for d in depth])
    k = head.wavenumber_per_mm()
    operator = jump_operator(k, head.plate_wavenumber_per_mm(), spacing)
    lit, xi = beam(head, channel), slot.x_mm + offsets[:, None] - at_mm[None, :]
    total = np.zeros(len(at_mm), dtype=complex)
    for stress, row, share in (
        (lit.shear(xi), operator.sliding, 1.0),
        (lit.normal(xi), operator.opening, OPENING_SHARE),
    ):
        # toeplitz(r) alone conjugates a complex row.
        matrix = np.diag(spacing / (share * give)) - toeplitz(row[: len(offsets)], row[: len(offsets)])
        jump = np.linalg.solve(matrix, spacing * stress)
        total += np.sum(stress * jump, axis=0)
    return joint.far_share * 1j / (4 * k) * spacing * total


def _mass(slot: Slot, joint: Joint, head: Head, channel: Channel, at_mm: Floats) -> Complex:
    k = head.wavenumber_per_mm()
    points = np.array(slot.depth_points_mm)
    n = max(int(slot.length_mm / 0.4) + 1, 12)
    step = slot.length_mm / n
    offsets = points[0, 0] + step * (np.arange(n) + 0.5)
    depth = np.interp(offsets, points[:, 0], points[:, 1])
    strength = np.array([removed_mass_reflection(d, slot.width_mm, joint.mean_mm, k) for d in depth])
    traction = beam(head, channel).scalar(slot.x_mm + offsets[:, None] - at_mm[None, :])
    weight = joint.near_share**2 * joint.far_share / (2 * (k * cos(head.tilt_rad(channel))) ** 2)
    return -weight * step * (strength @ traction**2)

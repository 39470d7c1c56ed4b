"""Echo of a slot (edge notch, undercut, lack of fusion): line spring plus removed mass.

The local answer comes from mode matching: what a slot of one depth adds to the joint's
reflection is split into the mass that it took away and a give in sliding. How the parts of the
slot act on each other along the seam is solved, so that the two ends answer as edges do,
one more strongly than the other in a tilted beam.

References
----------
Line springs: J. R. Rice and N. Levy, *The part-through surface crack in an elastic
plate*, J. Appl. Mech. 39 (1972), from memory.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import ceil, cos
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve, toeplitz

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.scattering.line_spring import HAT_LOSS, MAX_HATS, jump_operator
from seamtell.data_synth.scattering.slot_table import removed_mass_reflection, slot_table
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError

__all__ = ["OPENING_SHARE", "TIP_EXTENSION_MM", "hat_stiffness_per_mm", "mass_echo", "slot_echo", "slot_hats"]

Factors = tuple[NDArray[Any], NDArray[Any]]

OPENING_SHARE = 0.7
"""Give in opening over give in sliding, about 1 - Poisson's ratio."""
TIP_EXTENSION_MM = 0.2
"""How far a slot acts beyond each of its ends: fitted to full-wave results, and bounded, not derived.

The line spring takes every section for part of an endless one. At an end the sheet in
front gives way too, over about the ligament's height, so some extension is due;
its size would take a three-dimensional static solution. Between 0.1 and 0.3 mm every total
peak of the eight full-wave slots stays within 0.95 dB, and within 0.6 dB of its value at
0.2 mm. Without any, a slot of 2.5 mm reads 1.6 dB low. Part of it may be the
simulation's own: on cells of 0.1 mm, holes read 0.04 mm too wide.
"""

_SHALLOWEST_SHARE = 1e-3
_INTERVALS, _FINEST_MM, _COARSEST_MM = 80, 0.1, 0.4


def slot_echo(slot: Slot, joint: Joint, head: Head, channel: Channel, positions_mm: Floats) -> Complex:
    """Echo of a slot at every scan position, shape (n,), unscaled.

    Raises
    ------
    SeamtellError
        The slot is longer than the table of jumps reaches.
    """
    springs = _sliding_and_opening(slot, joint, head, channel, positions_mm)
    return springs + mass_echo(slot, joint, head, channel, positions_mm)


def slot_hats(slot: Slot) -> tuple[Floats, float]:
    """Offsets of the hats from the slot's `x_mm`, shape (n,), and their spacing.

    Raises
    ------
    SeamtellError
        The slot is longer than the table of jumps reaches.
    """
    length = slot.length_mm + 2 * TIP_EXTENSION_MM
    spacing = min(max(length / _INTERVALS, _FINEST_MM), _COARSEST_MM)
    n = max(ceil(length / spacing - 1e-9), 4)
    if n > MAX_HATS:
        raise SeamtellError(
            f"slot of {slot.length_mm:.0f} mm, expected at most {MAX_HATS * _COARSEST_MM:.0f} mm",
            do="make it two slots end to end",
        )
    spacing = length / (n - 2 * HAT_LOSS)
    middle = (slot.depth_points_mm[0][0] + slot.depth_points_mm[-1][0]) / 2
    return middle + spacing * (np.arange(1, n) - n / 2), spacing


def hat_stiffness_per_mm(slot: Slot, joint: Joint, k_per_mm: float) -> Complex:
    """Stress over sliding jump at each hat of :func:`slot_hats`; over `OPENING_SHARE` for opening."""
    depth = _depth_at(slot, slot_hats(slot)[0])
    table = slot_table(joint, slot.side, k_per_mm)
    return table.stiffness_per_mm(np.maximum(depth, _SHALLOWEST_SHARE * joint.mean_mm), slot.width_mm)


def _depth_at(slot: Slot, offsets_mm: Floats) -> Floats:
    points = np.array(slot.depth_points_mm)
    return np.asarray(np.interp(offsets_mm, points[:, 0], points[:, 1]))


@lru_cache(maxsize=16)
def _factored_springs(slot: Slot, joint: Joint, head: Head) -> tuple[Floats, float, Factors, Factors]:
    """Hats, their spacing and the factored matrices of sliding and opening; both channels share them."""
    offsets, spacing = slot_hats(slot)
    k = head.wavenumber_per_mm()
    stiffness = hat_stiffness_per_mm(slot, joint, k)
    operator = jump_operator(k, head.plate_wavenumber_per_mm(), spacing, len(offsets))
    # toeplitz(r) alone conjugates a complex row.
    sliding, opening = (
        lu_factor(np.diag(spacing * stiffness / share) - toeplitz(row, row), check_finite=False)
        for row, share in ((operator.sliding, 1.0), (operator.opening, OPENING_SHARE))
    )
    return offsets, spacing, sliding, opening


def _sliding_and_opening(
    slot: Slot, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    offsets, spacing, sliding, opening = _factored_springs(replace(slot, x_mm=0.0), joint, head)
    xi = slot.x_mm + offsets[:, None] - (positions_mm - head.axis_offset_mm(channel))[None, :]
    lit, total = beam(head, channel), np.zeros(len(positions_mm), dtype=complex)
    for stress, factors in ((lit.shear(xi), sliding), (lit.normal(xi), opening)):
        jump = lu_solve(factors, stress, check_finite=False)
        total += np.einsum("ij,ij->j", stress, jump)
    return joint.far_share * 1j / (4 * head.wavenumber_per_mm()) * spacing**2 * total


def mass_echo(slot: Slot, joint: Joint, head: Head, channel: Channel, positions_mm: Floats) -> Complex:
    """Echo of the slot's removed mass alone; not extended at its ends."""
    k = head.wavenumber_per_mm()
    n = max(int(slot.length_mm / 0.4) + 1, 12)
    step = slot.length_mm / n
    offsets = slot.depth_points_mm[0][0] + step * (np.arange(n) + 0.5)
    strength = removed_mass_reflection(_depth_at(slot, offsets), slot.width_mm, joint.mean_mm, k)
    xi = slot.x_mm + offsets[:, None] - (positions_mm - head.axis_offset_mm(channel))[None, :]
    weight = joint.near_share**2 * joint.far_share / (2 * (k * cos(head.tilt_rad(channel))) ** 2)
    return -weight * step * (strength @ beam(head, channel).scalar(xi) ** 2)

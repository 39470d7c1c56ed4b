"""Strength of slots, tabulated over depth and width for one joint, face and wavenumber.

Mode matching takes milliseconds, a flaw needs a hundred depths. A table is built
when it is first asked for, in about half a second, and kept. It interpolates what is
left once a closed-form twin has taken the steep part. What a slot adds is R with it minus R
of the same stairs without it, so that it vanishes with the slot. Against the direct answer
the table is typically good to 2e-4 and at worst to 1.5e-3 for sheets alike (1.5/1.3, 1.2/1.0 mm); at
worst 3e-3 for 1.0/1.6 and 0.8/2.0 mm, at widths where the stairs beside the slot give way.

References
----------
Static compliance of an edge crack under anti-plane shear, (4h/pi) ln sec(pi d / 2h):
textbook fracture mechanics (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log, pi

import numpy as np
from numpy.polynomial import chebyshev

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import deepest_slot_mm, slot_chain
from seamtell.data_synth.scattering.mode_matching import scatter_once
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

__all__ = [
    "SlotTable",
    "removed_mass_reflection",
    "slot_table",
    "twin_reflection",
]

_NARROWEST_SHARE = 0.035
"""Narrowest slot of a table over the ramp's width; below, all that depends on width is in the twin."""
_FUNCTIONS = 12
_DEPTHS, _WIDTHS = 16, 7
_NO_LIGAMENT_MM = 1e-9


def twin_reflection(
    joint: Joint, ligament_mm: Floats, width_mm: float, deepest_mm: float, k_per_mm: float
) -> Complex:
    """Closed-form twin of a slot's reflection: a line of the ligament's height between two half cracks.

    Three uniform lines (sheet, ligament, sheet) with half a static crack's compliance at
    either end of the ligament; shape of `ligament_mm`.
    """
    k, line = k_per_mm, np.maximum(ligament_mm, _NO_LIGAMENT_MM)
    half_crack = 2 / pi * -np.log(np.sin(pi * line / (2 * deepest_mm)))
    # admittance: flux over displacement times i k; a compliance in series adds to its inverse
    right = 1 / (1 / joint.sheet_b_mm - 1j * k * half_crack)
    turned = (line - right) / (line + right) * np.exp(2j * k * width_mm)
    left = 1 / ((1 + turned) / (1 - turned) / line - 1j * k * half_crack)
    return np.asarray((joint.sheet_a_mm - left) / (joint.sheet_a_mm + left) * np.exp(-1j * k * width_mm))


def _twin_added(joint: Joint, share: Floats, width: float, deepest: float, k: float) -> Complex:
    slotted = twin_reflection(joint, deepest * (1 - share), width, deepest, k)
    return slotted - twin_reflection(joint, np.array(deepest), width, deepest, k)


@dataclass(frozen=True, eq=False)
class SlotTable:
    """What a slot adds to the joint's reflection against depth and width, for one joint, face, wavenumber."""

    joint: Joint
    side: Side
    k_per_mm: float
    _rest: Complex

    def added(self, depth_mm: Floats, width_mm: float) -> Complex:
        """R(slot) - R(no slot), shape of `depth_mm`; depths beyond the sheet count as through.

        Slots wider than the ramp come from a table of their own width, to 0.01 mm.

        Raises
        ------
        SeamtellError
            The width is not above zero.
        """
        if not width_mm > 0:
            raise SeamtellError(f"slot {width_mm} mm wide, expected more than zero")
        deepest = deepest_slot_mm(self.joint, width_mm, self.side)
        share = np.clip(np.asarray(depth_mm, dtype=np.float64) / deepest, 0.0, 1.0)
        if width_mm <= self.joint.ramp_mm:
            by_depth = np.asarray(chebyshev.chebval(_width_place(self.joint, width_mm), self._rest.T))
        else:
            by_depth = _wide_slot(self.joint, self.side, self.k_per_mm, round(width_mm * 100))
        rest = np.asarray(chebyshev.chebval(2 * share - 1, by_depth))
        return _twin_added(self.joint, share, width_mm, deepest, self.k_per_mm) + share * rest

    def stiffness_per_mm(self, depth_mm: Floats, width_mm: float) -> Complex:
        """Stress over jump in sliding (one over the compliance); depths above zero."""
        sliding = sliding_part(self.joint, depth_mm, width_mm, self.added(depth_mm, width_mm), self.k_per_mm)
        return -1j * self.k_per_mm * (1 - sliding) / (2 * sliding)


def _width_place(joint: Joint, width: float) -> float:
    low, high = _table_widths(joint)
    return max(2 * log(width / low) / log(high / low) - 1, -1.0)


def _table_widths(joint: Joint) -> tuple[float, float]:
    return _NARROWEST_SHARE * joint.ramp_mm, joint.ramp_mm


def removed_mass_reflection(
    depth_mm: Floats, width_mm: float, thickness_mm: float, k_per_mm: float
) -> Complex:
    """Reflection by the mass that a slot took away, shape of `depth_mm`."""
    half = -0.5j * k_per_mm * width_mm * np.minimum(np.asarray(depth_mm) / thickness_mm, 1.0)
    return np.asarray(half / (1 - half))


def sliding_part(joint: Joint, depth_mm: Floats, width_mm: float, added: Complex, k_per_mm: float) -> Complex:
    """Split what a slot adds to the joint's reflection: take off the removed mass, leave sliding."""
    mass = removed_mass_reflection(depth_mm, width_mm, joint.mean_mm, k_per_mm)
    return np.asarray(added / joint.far_share - joint.near_share**2 * mass)


@lru_cache(maxsize=256)
def slot_table(joint: Joint, side: Side, k_per_mm: float) -> SlotTable:
    """Tabulate slots of one face; kept for the next call. About half a second."""
    if side is Side.THROUGH:
        return slot_table(joint, Side.BOTTOM, k_per_mm)
    widths, (low, high) = chebyshev.chebpts2(_WIDTHS), _table_widths(joint)
    rest = np.array(
        [_rest(joint, side, k_per_mm, low * (high / low) ** float((at + 1) / 2)) for at in widths]
    )
    return SlotTable(joint, side, k_per_mm, chebyshev.chebfit(widths, rest, _WIDTHS - 1).T)


@lru_cache(maxsize=1024)
def _wide_slot(joint: Joint, side: Side, k: float, width_times_100: int) -> Complex:
    return _rest(joint, side, k, width_times_100 / 100)


def _rest(joint: Joint, side: Side, k: float, width: float) -> Complex:
    """What the twin leaves over for slots of one width: series over the share of the depth."""
    deepest = deepest_slot_mm(joint, width, side)
    places = chebyshev.chebpts1(_DEPTHS)
    shares = (places + 1) / 2
    without = scatter_once(slot_chain(joint, 0.0, width, side), k, _FUNCTIONS).reflection
    chains = [slot_chain(joint, float(share * deepest), width, side) for share in shares]
    added = np.array([scatter_once(chain, k, _FUNCTIONS).reflection for chain in chains])
    rest = (added - without - _twin_added(joint, shares, width, deepest, k)) / shares
    return np.asarray(chebyshev.chebfit(places, rest, _DEPTHS - 1))

"""The springs of one slot as matrices: what stress on its hats opens which jumps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import toeplitz

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.line_spring import jump_operator
from seamtell.data_synth.scattering.slot import OPENING_SHARE, hat_stiffness_per_mm, slot_hats

__all__ = ["SlotSprings", "slot_springs"]


@dataclass(frozen=True, eq=False)
class SlotSprings:
    """Hats at `x_mm`, shape (m,), and the matrices that a jump is multiplied with, (m, m) each."""

    x_mm: Floats
    spacing_mm: float
    sliding: Complex
    opening: Complex


def slot_springs(slot: Slot, joint: Joint, head: Head) -> SlotSprings:
    """Set up the springs of a slot; spacing times stress is matrix times jump."""
    offsets, spacing = slot_hats(slot)
    k = head.wavenumber_per_mm()
    stiffness = hat_stiffness_per_mm(slot, joint, k)
    table = jump_operator(k, head.plate_wavenumber_per_mm(), spacing, len(offsets))
    sliding, opening = (
        np.diag(spacing * stiffness / share) - toeplitz(row, row)
        for row, share in ((table.sliding, 1.0), (table.opening, OPENING_SHARE))
    )
    return SlotSprings(slot.x_mm + offsets, spacing, sliding, opening)

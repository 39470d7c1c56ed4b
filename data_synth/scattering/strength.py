"""Local strength of a joint: what an endless seam of one cross-section reflects at normal incidence.

Direct answers, each refined until it has converged::

    sound_strength(joint, k)                      R of the sound joint
    slot_strength(joint, depth, width, side, k)   R with a slot from one face
    embedded_strength(joint, low, high, width, k) R with a slot inside
    shift_strength(joint, shift, k)               R with sheet B offset in height
    bead_strength(joint, height, width, k)        R with a bead

All are complex displacement ratios of the fundamental SH wave, referred to the middle of
the joint, for a wave from sheet A. Many flaws need many of them: see ``slot_table.py``
and ``change_tables.py``.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import (
    bead_chain,
    deepest_slot_mm,
    embedded_chain,
    offset_chain,
    slot_chain,
    sound_chain,
)
from seamtell.data_synth.scattering.mode_matching import scatter
from seamtell.features.contracts import Side

__all__ = ["bead_strength", "embedded_strength", "shift_strength", "slot_strength", "sound_strength"]

_TOLERANCE = 1e-3


@lru_cache(maxsize=256)
def sound_strength(joint: Joint, k_per_mm: float) -> complex:
    """Reflection of the sound joint.

    Examples
    --------
    >>> round(abs(sound_strength(Joint(1.5, 1.3), 1.16716)), 4)
    0.0685
    """
    return scatter(sound_chain(joint), k_per_mm, tolerance=_TOLERANCE).reflection


def slot_strength(joint: Joint, depth_mm: float, width_mm: float, side: Side, k_per_mm: float) -> complex:
    """Reflection of the joint with an endless slot; exp(-i k width) once it goes through."""
    if side is Side.THROUGH or depth_mm >= deepest_slot_mm(joint, width_mm, side):
        return complex(np.exp(-1j * k_per_mm * width_mm))
    chain = slot_chain(joint, depth_mm, width_mm, side)
    return scatter(chain, k_per_mm, tolerance=_TOLERANCE).reflection


def embedded_strength(
    joint: Joint, low_mm: float, high_mm: float, width_mm: float, k_per_mm: float
) -> complex:
    """Reflection with a slot inside, between two heights over the bottom face."""
    chain = embedded_chain(joint, low_mm, high_mm, width_mm)
    return scatter(chain, k_per_mm, tolerance=_TOLERANCE).reflection


def shift_strength(joint: Joint, shift_mm: float, k_per_mm: float) -> complex:
    """Reflection with sheet B lowered by `shift_mm`, raised if negative."""
    return scatter(offset_chain(joint, shift_mm), k_per_mm, tolerance=_TOLERANCE).reflection


def bead_strength(joint: Joint, height_mm: float, width_mm: float, k_per_mm: float) -> complex:
    """Reflection with a bead on the top face, a groove if negative."""
    return scatter(bead_chain(joint, height_mm, width_mm), k_per_mm, tolerance=_TOLERANCE).reflection

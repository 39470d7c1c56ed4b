"""Closed forms to first order in the change of the joint: what to expect of mode matching, for tests."""

from __future__ import annotations

from math import cos, log, pi

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Joint

__all__ = [
    "bead_reflection",
    "mismatch_reflection",
    "ramp_factor",
    "sound_reflection",
    "step_reflection",
    "twin_compliance_mm",
]

_FULL_RAMP_SHIFT_MM = 0.15


def step_reflection(before_mm: float, after_mm: float) -> float:
    """Reflection of an abrupt step at low frequency.

    Examples
    --------
    >>> round(step_reflection(1.5, 1.3), 5)
    0.07143
    """
    return (before_mm - after_mm) / (before_mm + after_mm)


def ramp_factor(k_per_mm: float, ramp_mm: float) -> float:
    """How much of a step's reflection a raised-cosine ramp of the same height keeps.

    Born approximation: the transform at 2k of the ramp's slope, half a sine wave,
    cos(k r) / (1 - (2 k r / pi)^2).
    """
    turns = 2 * k_per_mm * ramp_mm / pi
    if abs(1 - turns**2) < 1e-9:
        return pi / 4
    return cos(k_per_mm * ramp_mm) / (1 - turns**2)


def sound_reflection(joint: Joint, k_per_mm: float) -> float:
    """Reflection to first order in the thickness step: a test twin of mode matching, without its phase."""
    # half the logarithm of the ratio is the step's reflection for a gradual change of thickness
    size = log(joint.sheet_a_mm / joint.sheet_b_mm) / 2
    return size * ramp_factor(k_per_mm, joint.ramp_mm)


def mismatch_reflection(joint: Joint, shift_mm: Floats, k_per_mm: float) -> Complex:
    """What sheets offset in height add to the sound joint's reflection, shape of `shift_mm`.

    Between the two sheets only the height that they have in common carries on: the sheet
    gets thinner and thicker again, half a ramp apart to either side. First order in the
    two thickness changes, each softened by its ramp.
    """
    lowered = np.clip(shift_mm, 0, None)
    raised = np.clip(-shift_mm, 0, None)
    common = np.minimum(joint.sheet_a_mm, joint.sheet_b_mm + raised) - raised
    common = np.where(lowered > 0, np.minimum(joint.sheet_a_mm, joint.sheet_b_mm - lowered), common)
    apart = joint.ramp_mm / 2 * np.minimum(np.abs(shift_mm) / _FULL_RAMP_SHIFT_MM, 1.0)
    thinner = np.log(joint.sheet_a_mm / common) / 2 * np.exp(-2j * k_per_mm * apart)
    thicker = np.log(joint.sheet_b_mm / common) / 2 * np.exp(2j * k_per_mm * apart)
    total = ramp_factor(k_per_mm, joint.ramp_mm) * (thinner - thicker)
    return np.asarray(total - sound_reflection(joint, k_per_mm), dtype=np.complex128)


def bead_reflection(added_mm: Floats, across_mm: float, joint: Joint, k_per_mm: float) -> Complex:
    """Reflection of a low bead: added height times its width, thinned by the phase across it."""
    phase = k_per_mm * across_mm
    return np.asarray(1j * k_per_mm / joint.mean_mm * across_mm * np.sin(phase) / phase * added_mm)


def twin_compliance_mm(depth_mm: Floats, width_mm: float, thickness_mm: float) -> Floats:
    """Closed-form give of a slot: a static crack's plus that of the thinner sheet beside it.

    Infinite when the slot goes through.
    """
    share = np.asarray(depth_mm) / thickness_mm
    with np.errstate(divide="ignore", invalid="ignore"):
        crack = -4 * thickness_mm / pi * np.log(np.cos(pi * np.minimum(share, 1.0) / 2))
        give = crack + width_mm * share / (1 - share)
    return np.asarray(np.where(share < 1, give, np.inf))

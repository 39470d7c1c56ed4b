"""Echo of the sound seam: the thickness step, softened by the ramp of its top surface.

At low frequency a step reflects (h_A - h_B) / (h_A + h_B), like a step in a string. The
ramp spreads that over its width, so that its parts arrive with different phases. The
strength comes from mode matching; the closed forms here say what to expect of it.
"""

from __future__ import annotations

from math import cos, log, pi

from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.data_synth.scattering.strength import sound_strength
from seamtell.features.contracts import Channel

__all__ = ["ramp_factor", "sound_echo", "sound_reflection", "step_reflection"]


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


def sound_echo(joint: Joint, head: Head, channel: Channel) -> complex:
    """Echo of the sound seam, the same at every position; none in a tilted beam."""
    if head.tilt_rad(channel) != 0:
        return 0j
    return sound_strength(joint, head.wavenumber_per_mm()) * free_edge_echo(head)

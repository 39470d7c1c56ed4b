"""Echo of a slow change of the joint along the seam: a line integral of local strengths.

Each short piece of seam answers as if it were part of an endless one, and the pieces
are added with the squared traction of the beam. That holds while the joint changes
little within a wavelength along the seam, and it makes near and far ends alike.
"""

from __future__ import annotations

from math import cos

import numpy as np
from scipy.signal import fftconvolve

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Mismatch, RoughJoint
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.scattering.change_tables import bead_table, shift_table
from seamtell.data_synth.scattering.sound_seam import ramp_factor, sound_reflection
from seamtell.features.contracts import Channel

__all__ = ["bead_reflection", "line_integral", "mismatch_echo", "mismatch_reflection", "rough_joint_echo"]


_PIECE_MM = 0.5
_CONVOLVE_FROM = 64
_KERNEL_REACH_MM = 30.0
_FULL_RAMP_SHIFT_MM = 0.15


def line_integral(
    strength: Complex, at_mm: Floats, head: Head, channel: Channel, positions_mm: Floats, cosines: int
) -> Complex:
    """Sum the echoes of equidistant pieces of seam, shape (n,), unscaled.

    Parameters
    ----------
    strength : complex array of shape (m,)
        Reflection that each piece adds to the sound seam's.
    at_mm : float array of shape (m,)
        Equidistant positions of the pieces.
    positions_mm : float array of shape (n,)
    cosines : int
        Power of the tilt's cosine in the weight: 1 for a mirror-like joint, 2 for lumps.
    """
    k, step = head.wavenumber_per_mm(), at_mm[1] - at_mm[0]
    lit, offset = beam(head, channel), head.axis_offset_mm(channel)
    if len(at_mm) > _CONVOLVE_FROM and np.array_equal(at_mm, positions_mm):
        lags = step * np.arange(1 - len(at_mm), len(at_mm))
        lags = lags[np.abs(lags) < _KERNEL_REACH_MM]
        total: Complex = fftconvolve(strength, lit.scalar(offset - lags) ** 2, mode="full")
        total = total[len(lags) // 2 : len(lags) // 2 + len(at_mm)]
    else:
        total = strength @ lit.scalar(at_mm[:, None] - (positions_mm - offset)[None, :]) ** 2
    return np.asarray(-step / (2 * k**2 * cos(head.tilt_rad(channel)) ** cosines) * total)


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


def mismatch_echo(
    flaw: Mismatch, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    """Echo of a mismatch at every scan position, shape (n,), unscaled."""
    first, last = flaw.extent_mm
    n = max(int((last - first) / _PIECE_MM), 8)
    at = first + (last - first) / n * (np.arange(n) + 0.5)
    from_end = np.minimum(at - first, last - at)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.clip(from_end / flaw.end_ramp_mm, 0, 1))
    strength = shift_table(joint, head.wavenumber_per_mm()).added(flaw.shift_mm * rise)
    return line_integral(strength, at, head, channel, positions_mm, 1)


def bead_reflection(added_mm: Floats, across_mm: float, joint: Joint, k_per_mm: float) -> Complex:
    """Reflection of a low bead: added height times its width, thinned by the phase across it."""
    phase = k_per_mm * across_mm
    return np.asarray(1j * k_per_mm / joint.mean_mm * across_mm * np.sin(phase) / phase * added_mm)


def rough_joint_echo(
    flaw: RoughJoint, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    """Echo of a rough bead at every scan position, shape (n,), unscaled."""
    at = flaw.start_mm + flaw.spacing_mm * np.arange(len(flaw.added_mm))
    table = bead_table(joint, flaw.across_mm, head.wavenumber_per_mm())
    strength = table.added(np.asarray(flaw.added_mm))
    return line_integral(strength, at, head, channel, positions_mm, 2)

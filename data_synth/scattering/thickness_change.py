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
from seamtell.features.contracts import Channel

__all__ = ["line_integral", "mismatch_echo", "rough_joint_echo"]

_PIECE_MM = 0.5
_CONVOLVE_FROM = 64
_KERNEL_REACH_MM = 30.0


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


def rough_joint_echo(
    flaw: RoughJoint, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    """Echo of a rough bead at every scan position, shape (n,), unscaled."""
    at = flaw.start_mm + flaw.spacing_mm * np.arange(len(flaw.added_mm))
    table = bead_table(joint, flaw.across_mm, head.wavenumber_per_mm())
    strength = table.added(np.asarray(flaw.added_mm))
    return line_integral(strength, at, head, channel, positions_mm, 2)

"""Light smoothing, far narrower than the beam, that keeps humps where they are.

A flaw cannot answer more narrowly than the beam is wide, so averaging over a
fraction of the beam width removes noise and next to no signal. Both filters are
symmetric and reflect at the ends, so a mirrored trace gives the mirrored result.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["DESPIKE_BEAMS", "SMOOTH_BEAMS", "despiked_pct", "smoothed_pct"]

SMOOTH_BEAMS = 0.25
"""Width of the moving average over the beam width; it widens a Gaussian hump by 1.4 %."""
DESPIKE_BEAMS = 0.35
"""Width of the running median over the beam width; spikes of half of it vanish."""


def smoothed_pct(amplitude_pct: NDArray[np.float64], pitch_mm: float, width_mm: float) -> NDArray[np.float64]:
    """Moving average over a stretch of seam, whatever the sample pitch.

    Parameters
    ----------
    amplitude_pct : ndarray of shape (n,)
    pitch_mm : float
    width_mm : float
        Length of the average; the outermost samples count in part, so that the
        length does not jump with the pitch.

    Returns
    -------
    ndarray of shape (n,)

    Examples
    --------
    >>> smoothed_pct(np.array([0.0, 0.0, 3.0, 0.0, 0.0]), 1.0, 3.0)
    array([0., 1., 1., 1., 0.])
    """
    samples = width_mm / pitch_mm
    if samples <= 1.0 or len(amplitude_pct) < 2:
        return np.array(amplitude_pct, dtype=np.float64)
    half = math.ceil((samples - 1.0) / 2.0)
    kernel = np.ones(2 * half + 1)
    kernel[0] = kernel[-1] = (samples - (2 * half - 1)) / 2.0
    padded = np.pad(amplitude_pct, half, mode="symmetric")
    return np.convolve(padded, kernel / samples, mode="valid")


def despiked_pct(
    amplitude_pct: NDArray[np.float64], pitch_mm: float, beam_width_mm: float
) -> NDArray[np.float64]:
    """Running median, then moving average: what indications are looked for in.

    A spike of a sample or two is no echo, because an echo is at least about a
    beam wide; the median takes it away instead of spreading it.

    Parameters
    ----------
    amplitude_pct : ndarray of shape (n,)
    pitch_mm, beam_width_mm : float

    Returns
    -------
    ndarray of shape (n,)

    Examples
    --------
    >>> despiked_pct(np.array([1.0, 1.0, 9.0, 1.0, 1.0]), 1.0, 9.0)
    array([1., 1., 1., 1., 1.])
    """
    from scipy.ndimage import median_filter

    size = max(1, 2 * round((DESPIKE_BEAMS * beam_width_mm / pitch_mm - 1.0) / 2.0) + 1)
    if pitch_mm <= beam_width_mm / 4.0:
        size = max(size, 3)
    # Reflected here: scipy 1.17 reflects wrongly where the window is several times as long as the trace.
    padded = np.pad(np.asarray(amplitude_pct, dtype=np.float64), size // 2, mode="symmetric")
    despiked = median_filter(padded, size=size)[size // 2 : len(padded) - size // 2]
    return smoothed_pct(despiked, pitch_mm, DESPIKE_BEAMS * beam_width_mm)

"""Running baseline of one channel: what the sound seam alone would give.

Flaws only ever cover part of a seam and nearly always raise it. So the seam is
cut into short blocks, each block is represented by its median, and a stiff
smooth curve is fitted through those blocks that lie close to it. The fit starts
from a low running quantile, which a flaw of 200 mm cannot lift, and then takes in
whatever joins it smoothly: drift and ripple of the level do, the edge of a flaw
does not. Within the tolerance, blocks above and below count alike, so noise
alone does not bias the baseline.

A seam that is flawed over more than about three quarters of its length (of
300 mm, if it is longer) has no baseline to be found, here or by eye.

References
----------
P. H. C. Eilers, A perfect smoother, Analytical Chemistry 75 (2003) 3631-3636:
smoothing by penalised differences, with weights that leave data out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BLOCK_MM", "WINDOW_MM", "BaselineCurve", "baseline_curve", "baseline_pct"]

BLOCK_MM = 8.0
"""Length of a block: shorter than the beam, long enough to quieten the noise."""
WINDOW_MM = 300.0
"""Window of the low quantile that the fit starts from: longer than the longest flaw."""

_START_QUANTILE = 0.2
_TOLERANCE_SIGMA = 4.0
_TOLERANCE_SHARE = 0.07
_BENDING = 10.0
_SLOPING = 0.1
_ROUNDS = 15
_BLOCKS_FOR_QUARTILE = 40


@dataclass(frozen=True, eq=False)
class BaselineCurve:
    """Baseline of one channel: points in the middle of each block, and straight lines between them.

    Parameters
    ----------
    places : ndarray of shape (m,)
        In samples; half of one where a block has an even number of them.
    points_pct : ndarray of shape (m,)
        % FSH.
    """

    places: NDArray[np.float64]
    points_pct: NDArray[np.float64]

    @property
    def level_pct(self) -> float:
        """Level of the seam as a whole, % FSH: the median of the points, which are spread evenly."""
        return float(np.median(self.points_pct))

    def samples_pct(self, n: int) -> NDArray[np.float64]:
        """The baseline at n samples, % FSH."""
        return np.interp(np.arange(n), self.places, self.points_pct)


def baseline_pct(amplitude_pct: NDArray[np.float64], pitch_mm: float) -> NDArray[np.float64]:
    """Baseline of one channel, on the grid of its samples.

    Parameters
    ----------
    amplitude_pct : ndarray of shape (n,)
        Finite amplitudes, % FSH.
    pitch_mm : float

    Returns
    -------
    ndarray of shape (n,)
        % FSH; scales with the amplitudes, and mirrors with them.

    Examples
    --------
    >>> trace = np.full(1000, 7.0)
    >>> trace[300:700] = 30.0  # a flaw of 200 mm
    >>> baseline_pct(trace, 0.5).round(3).max()
    np.float64(7.0)
    """
    amplitude = np.asarray(amplitude_pct, dtype=np.float64)
    if len(amplitude) == 0:
        return amplitude.copy()
    return baseline_curve(amplitude, pitch_mm).samples_pct(len(amplitude))


def baseline_curve(amplitude_pct: NDArray[np.float64], pitch_mm: float) -> BaselineCurve:
    """Baseline of one channel as the curve through its blocks; of at least one sample, see `baseline_pct`.

    Examples
    --------
    >>> trace = np.full(1000, 7.0)
    >>> trace[300:700] = 30.0
    >>> round(baseline_curve(trace, 0.5).level_pct, 3)
    7.0
    """
    amplitude = np.asarray(amplitude_pct, dtype=np.float64)
    size, starts = _blocks(len(amplitude), pitch_mm)
    medians = np.median(amplitude[starts[:, None] + np.arange(size)], axis=1)
    places = np.asarray(starts + (size - 1) / 2.0, dtype=np.float64)
    if len(medians) < 3:
        return BaselineCurve(places, medians)
    spacing_mm = (starts[-1] - starts[0]) / (len(starts) - 1) * pitch_mm
    return BaselineCurve(
        places, _fit_through_sound_blocks(medians, spacing_mm, _sampling_sigma(amplitude, size))
    )


def _blocks(n: int, pitch_mm: float) -> tuple[int, NDArray[np.int64]]:
    """Size of a block and first samples of an odd number of blocks, laid out symmetrically."""
    size = int(np.clip(round(BLOCK_MM / pitch_mm), 1, n))
    size -= (n - size) % 2
    if size < 1:
        size = min(2, n)
    count = -(-n // size)
    count += 1 - count % 2
    left = np.arange(count // 2) * (n - size) // max(count - 1, 1)
    return size, np.concatenate((left, [(n - size) // 2], (n - size) - left[::-1])).astype(np.int64)


def _sampling_sigma(amplitude: NDArray[np.float64], size: int) -> float:
    """Standard deviation of a block median that independent noise of the samples alone would give."""
    sigma = 1.4826 * float(np.median(np.abs(np.diff(amplitude)))) / np.sqrt(2.0)
    return float(sigma * np.sqrt(np.pi / 2.0 / size))


def _block_sigma(medians: NDArray[np.float64], sampling_sigma: float) -> float:
    """Standard deviation of the medians of sound blocks about a smooth curve.

    The median step from block to block tells it while most blocks are sound. On a
    seam full of flaws it tells of the flaws. So it may not exceed three times what
    the noise of the samples promises, or, where there are blocks enough for it, what
    the quarter with the smallest steps says, which roughness of the joint raises too.
    """
    steps = np.sort(np.abs(np.diff(medians))) / np.sqrt(2.0)
    typical = 1.4826 * float(np.median(steps))
    enough = len(medians) >= _BLOCKS_FOR_QUARTILE
    quarter = float(steps[len(steps) // 4]) / 0.3186 if enough else 0.0
    return min(typical, max(3.0 * sampling_sigma, quarter))


def _fit_through_sound_blocks(
    medians: NDArray[np.float64], spacing_mm: float, sampling_sigma: float
) -> NDArray[np.float64]:
    """Smooth curve through the blocks that lie within tolerance of it."""
    start = _low_quantile(medians, max(1, round(WINDOW_MM / spacing_mm)))
    sigma = _block_sigma(medians, sampling_sigma)
    tolerance = np.maximum(_TOLERANCE_SIGMA * sigma, _TOLERANCE_SHARE * np.abs(start))
    taken = np.abs(medians - start) <= tolerance
    if not taken.any():
        taken = medians == medians.min()
    for _ in range(_ROUNDS):
        curve = _smooth(medians, taken)
        now = np.abs(medians - curve) <= tolerance
        if not now.any() or np.array_equal(now, taken):
            break
        taken = now
    sound = taken & ~_or_beside(medians > curve + tolerance)
    return _smooth(medians, sound) if sound.any() else curve


def _low_quantile(medians: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Low quantile in a window that slides, but never leaves the seam and never shrinks at its ends."""
    count = len(medians)
    width = min(width - 1 + width % 2, count)
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(medians, width), axis=1)
    low = windows[:, int(_START_QUANTILE * (width - 1))]
    return np.asarray(low[np.clip(np.arange(count) - width // 2, 0, count - width)])


def _smooth(values: NDArray[np.float64], taken: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Penalised least squares: bending is dear, so gaps are bridged; sloping a little, so ends stay flat."""
    from scipy.linalg import solveh_banded

    count = len(values)
    bands = np.zeros((3, count))
    bands[2] = taken
    bands[2, :-1] += _SLOPING
    bands[2, 1:] += _SLOPING
    bands[1, 1:] -= _SLOPING
    bands[2, :-2] += _BENDING
    bands[2, 1:-1] += 4.0 * _BENDING
    bands[2, 2:] += _BENDING
    bands[1, 1:-1] -= 2.0 * _BENDING
    bands[1, 2:] -= 2.0 * _BENDING
    bands[0, 2:] += _BENDING
    return np.asarray(solveh_banded(bands, np.where(taken, values, 0.0), check_finite=False))


def _or_beside(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The blocks of the mask and their neighbours, which hold the tails of a flaw."""
    wide = mask.copy()
    wide[1:] |= mask[:-1]
    wide[:-1] |= mask[1:]
    return wide

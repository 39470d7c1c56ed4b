"""What comes before and after the fit of a baseline; ``features.baseline`` is the specification."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _BLOCKS_FOR_QUARTILE
from seamtell.features.kernel.compiling import compiled, reordering
from seamtell.features.kernel.lanes import EIGHT
from seamtell.features.kernel.order_statistics import (
    MEDIAN_OVER_MEAN,
    density_at_median,
    fill_up,
    more_small_steps,
    rank_pair,
    round_to_keys,
)
from seamtell.features.kernel.sort_vectors import SORTED, sort_in_registers
from seamtell.features.kernel.vectors import write_line

__all__ = ["block_sigma", "interpolate"]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
Indices = NDArray[np.int64]

_SQRT2 = float(np.sqrt(2.0))
_QUARTILE_OVER_MEDIAN, _DENSER_AT_QUARTILE = 0.472, 1.19
"""Of half a normal distribution."""
_PAST_ROUNDING = 1.0 + 1e-6
"""More than rounding to float32 changes."""


@compiled
def _sampling_factor(size: int) -> float:
    """What the median step from sample to sample is multiplied with, in the order of the specification."""
    return np.sqrt(np.pi / 2.0 / size)


@compiled
def block_sigma(
    amplitudes: Samples,
    n: int,
    size: int,
    medians: Array,
    count: int,
    steps: Array,
    keys: Samples,
    places: Indices,
    scratch: Array,
) -> float:
    """Standard deviation of the medians of sound blocks about a smooth curve.

    The median step from sample to sample is dear, and caps the answer rarely. So first one
    count tells whether it is large enough not to. Reads up to 64 samples further.
    """
    m = count - 1
    for k in range(m):
        steps[k] = np.abs(medians[k + 1] - medians[k])
    if m <= SORTED:
        fill_up(steps, m, SORTED)
        sort_in_registers(steps, scratch)
        low, high, fourth = scratch[(m - 1) // 2], scratch[m // 2], scratch[m // 4]
    else:
        low, high = _middle(steps, keys, m, places, scratch)
        density = _DENSER_AT_QUARTILE * density_at_median(m, low)
        fourth = rank_pair(steps, keys, m, m // 4, _QUARTILE_OVER_MEDIAN * low, density, places, scratch)[0]
    typical = 1.4826 * ((low / _SQRT2 + high / _SQRT2) / 2.0 if m % 2 == 0 else low / _SQRT2)
    quarter = fourth / _SQRT2 / 0.3186 if count >= _BLOCKS_FOR_QUARTILE else 0.0
    if typical <= quarter:
        return typical
    factor = _sampling_factor(size)
    rank = (n - 2) // 2
    triple = 3.0 * 1.4826 / _SQRT2 * factor  # of the median step
    # The median step is needed exactly only when three times the sampling sigma lies between the others.
    if not more_small_steps(amplitudes, n - 1, np.float32(typical / triple * _PAST_ROUNDING), rank):
        return typical
    if more_small_steps(amplitudes, n - 1, np.float32(quarter / triple / _PAST_ROUNDING), rank + 1):
        return quarter
    _steps(amplitudes, amplitudes[1:], n - 1, steps)
    low, high = _middle(steps, keys, n - 1, places, scratch)
    step = low if (n - 1) % 2 == 1 else (low + high) / 2.0
    sampling = 1.4826 * step / _SQRT2 * factor
    return min(typical, max(3.0 * sampling, quarter))


@compiled
def _steps(values: Samples, following: Samples, n: int, steps: Array) -> None:
    for i in range(n):
        steps[i] = np.abs(np.float64(following[i]) - np.float64(values[i]))


@reordering
def _middle(steps: Array, keys: Samples, m: int, places: Indices, scratch: Array) -> tuple[float, float]:
    """The values of ranks ``(m - 1) // 2`` and ``m // 2`` of steps without their sign; `keys` are written.

    They are guessed from the mean, as of half a normal distribution.
    """
    total = 0.0
    for i in range(m):
        total += steps[i]
    guess = MEDIAN_OVER_MEAN * total / m
    round_to_keys(steps, m, keys)
    low, after = rank_pair(steps, keys, m, (m - 1) // 2, guess, density_at_median(m, guess), places, scratch)
    return low, low if m % 2 == 1 else after


@compiled
def interpolate(
    curve: Array, starts: Indices, size: int, count: int, n: int, baseline: Array, rounded: Samples
) -> None:
    """Curve on the grid of the samples, by the formula of ``numpy.interp``, and the same rounded to float32.

    Up to `EIGHT` samples further. Points of the curve lie in the middle of blocks: from a point to
    the first sample there is as far in all of them.
    """
    before = size // 2
    run = before - (size - 1) / 2.0
    for i in range(0, starts[0] + before, EIGHT):
        write_line(baseline, rounded, i, 0.0, curve[0], 0.0)
    for k in range(count - 1):
        slope = (curve[k + 1] - curve[k]) / float(starts[k + 1] - starts[k])
        first, last = starts[k] + before, starts[k + 1] + before
        for i in range(first, last, EIGHT):
            write_line(baseline, rounded, i, run + (i - first), curve[k], slope)
    for i in range(starts[count - 1] + before, n, EIGHT):
        write_line(baseline, rounded, i, 0.0, curve[count - 1], 0.0)

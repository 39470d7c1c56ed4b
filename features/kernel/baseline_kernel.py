"""Baselines of two channels at once; ``features.baseline`` is the specification and says why."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import (
    _BLOCKS_FOR_QUARTILE,
    _ROUNDS,
    _TOLERANCE_SHARE,
    _TOLERANCE_SIGMA,
    WINDOW_MM,
)
from seamtell.features.kernel.block_vectors import mark_within
from seamtell.features.kernel.compiling import compiled, larger, reordering, smaller
from seamtell.features.kernel.lanes import EIGHT
from seamtell.features.kernel.low_quantile import low_quantile
from seamtell.features.kernel.order_statistics import (
    MEDIAN_OVER_MEAN,
    density_at_median,
    fill_up,
    more_small_steps,
    rank_pair,
    round_to_keys,
)
from seamtell.features.kernel.smooth_fit import fold, smooth_two
from seamtell.features.kernel.sort_vectors import SORTED, sort_in_registers
from seamtell.features.kernel.vectors import write_line

__all__ = ["block_sigma", "fit_two", "interpolate", "prepare_fit"]

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
def prepare_fit(
    medians: Array,
    count: int,
    spacing_mm: float,
    sigma: float,
    start: Array,
    values: Array,
    tolerance: Array,
    taken: Array,
    order: Indices,
    seen: Indices,
    scratch: Array,
) -> None:
    """Medians, tolerance about the curve, and the blocks that the fit starts from, all folded."""
    width = max(1, int(np.rint(WINDOW_MM / spacing_mm)))
    low_quantile(medians, count, width, start, order, seen, scratch)
    fold(medians, count, values)
    fold(start, count, scratch)
    least = _TOLERANCE_SIGMA * sigma
    for k in range(count + 1):
        tolerance[k] = larger(least, _TOLERANCE_SHARE * np.abs(scratch[k]))
    if mark_within(values, scratch, tolerance, tolerance, count + 1, taken)[0] == 0:
        lowest = np.inf
        for k in range(count):
            lowest = smaller(lowest, medians[k])
        for k in range(count + 1):
            taken[k] = 1.0 if values[k] == lowest else 0.0


@compiled
def fit_two(
    values: Array,
    other_values: Array,
    tolerance: Array,
    other_tolerance: Array,
    taken: Array,
    other_taken: Array,
    curve: Array,
    other_curve: Array,
    count: int,
    both: bool,
    now: Array,
    above: Array,
    factors: Array,
    meeting: Array,
) -> None:
    """Fit two channels, each through the blocks that lie close to its curve, until these stay the same.

    All is folded. `both` is false when there is no other channel; it is then worked out for
    nothing, as is a channel that is done before the other, with the same result.
    """
    rounds, done, other_done, last, other_last = 0, False, not both, False, False
    while not (done and other_done):
        smooth_two(values, other_values, taken, other_taken, count, curve, other_curve, factors, meeting)
        rounds += 1
        if last:
            done = True
        elif not done:
            done, last = _next_round(values, tolerance, taken, curve, count + 1, now, above, rounds)
        if other_last:
            other_done = True
        elif not other_done:
            other_done, other_last = _next_round(
                other_values, other_tolerance, other_taken, other_curve, count + 1, now, above, rounds
            )


@compiled
def _next_round(
    values: Array,
    tolerance: Array,
    taken: Array,
    curve: Array,
    length: int,
    now: Array,
    above: Array,
    rounds: int,
) -> tuple[bool, bool]:
    """Blocks of the next round, written to `taken`; whether the curve is final, and whether its next is."""
    inside, changes = mark_within(values, curve, tolerance, taken, length, now)
    proceeds = inside > 0 and changes > 0
    if proceeds and rounds < _ROUNDS:
        _copy(now, length, taken)
        return False, False
    if not proceeds:
        _copy(taken, length, now)
    _mark_above(values, curve, tolerance, length, above)
    sound, changes = _leave_out(above, above[2:], above[4:], taken, length, now)
    if sound == 0.0 or changes == 0.0:
        return True, False
    _copy(now, length, taken)
    return False, True


@compiled
def _mark_above(values: Array, curve: Array, tolerance: Array, length: int, above: Array) -> None:
    """Write which blocks lie above the tolerance, with one row more on either side.

    Beyond the end of the seam is nothing. Beyond the middle block is the one on its other side.
    """
    above[0], above[1] = 0.0, 0.0
    rows = above[2:]
    for k in range(length):
        rows[k] = 1.0 if values[k] > curve[k] + tolerance[k] else 0.0
    rows[length], rows[length + 1] = rows[length - 3], rows[length - 4]


@reordering
def _leave_out(
    before: Array, above: Array, after: Array, taken: Array, length: int, now: Array
) -> tuple[float, float]:
    """Leave blocks out that are above the tolerance, or beside such; like `mark_within`."""
    inside, changes = 0.0, 0.0
    for k in range(length):
        one = 0.0 if before[k] + above[k] + after[k] > 0.0 else now[k]
        inside += one
        changes += np.abs(one - taken[k])
        now[k] = one
    return inside, changes


@compiled
def _copy(values: Array, n: int, out: Array) -> None:
    for i in range(n):
        out[i] = values[i]


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

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
from seamtell.features.kernel.compiling import compiled, reordering
from seamtell.features.kernel.low_quantile import low_quantile
from seamtell.features.kernel.order_statistics import (
    count_below,
    fill_up,
    pair_of_few,
    rank_pair,
    round_to_keys,
)
from seamtell.features.kernel.rank_vectors import values_of_ranks
from seamtell.features.kernel.smooth_fit import smooth_two
from seamtell.features.kernel.vectors import LANES, write_line

__all__ = ["block_sigma", "fit_two", "interpolate", "prepare_fit"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_SQRT2 = float(np.sqrt(2.0))
_PAST_ROUNDING = 1.0 + 1e-9


@compiled
def _sampling_factor(size: int) -> float:
    """What the median step from sample to sample is multiplied with, in the order of the specification."""
    return np.sqrt(np.pi / 2.0 / size)


@compiled
def block_sigma(
    amplitudes: NDArray[np.float32],
    n: int,
    size: int,
    medians: Array,
    count: int,
    steps: Array,
    keys: NDArray[np.float32],
    scratch: Array,
) -> float:
    """Standard deviation of the medians of sound blocks about a smooth curve.

    The median step from sample to sample is dear, and caps the answer rarely. So first one
    count tells whether it is large enough not to.
    """
    m = count - 1
    for k in range(m):
        steps[k] = np.abs(medians[k + 1] - medians[k])
    if m <= LANES * 8:
        fill_up(steps, m, LANES)
        low, high, fourth = values_of_ranks(steps, m, (m - 1) // 2, m // 2, m // 4)
    else:
        low, high = _ranks(steps, keys, m, (m - 1) // 2, scratch)
        fourth = _ranks(steps, keys, m, m // 4, scratch)[0]
    typical = 1.4826 * ((low / _SQRT2 + high / _SQRT2) / 2.0 if m % 2 == 0 else low / _SQRT2)
    quarter = fourth / _SQRT2 / 0.3186 if count >= _BLOCKS_FOR_QUARTILE else 0.0
    if typical <= quarter:
        return typical
    _steps(amplitudes, amplitudes[1:], n - 1, steps)
    factor = _sampling_factor(size)
    rank = (n - 2) // 2
    triple = 3.0 * 1.4826 / _SQRT2 * factor  # of the median step
    # The median step is needed exactly only when three times the sampling sigma lies between the others.
    if count_below(steps, n - 1, typical / triple * _PAST_ROUNDING) <= rank:
        return typical
    if count_below(steps, n - 1, quarter / triple / _PAST_ROUNDING) > rank + 1:
        return quarter
    low, high = _ranks(steps, keys, n - 1, rank, scratch)
    step = low if (n - 1) % 2 == 1 else (low + high) / 2.0
    sampling = 1.4826 * step / _SQRT2 * factor
    return min(typical, max(3.0 * sampling, quarter))


@compiled
def _steps(values: NDArray[np.float32], following: NDArray[np.float32], n: int, steps: Array) -> None:
    for i in range(n):
        steps[i] = np.abs(np.float64(following[i]) - np.float64(values[i]))


@reordering
def _ranks(
    values: Array, keys: NDArray[np.float32], n: int, rank: int, scratch: Array
) -> tuple[float, float]:
    """`rank_pair` of values that are not negative, about the middle, with a guess from their mean."""
    if n <= 128:
        return pair_of_few(values, n, rank)
    total = 0.0
    for i in range(n):
        total += values[i]
    guess = total / n
    round_to_keys(values, n, keys)
    return rank_pair(values, keys, n, rank, 0.85 * guess, 0.5 * n / max(guess, 1e-300), scratch)


@compiled
def prepare_fit(
    medians: Array,
    count: int,
    spacing_mm: float,
    sigma: float,
    start: Array,
    tolerance: Array,
    taken: Mask,
    order: NDArray[np.int64],
    seen: NDArray[np.int64],
) -> None:
    """Tolerance about the curve, and the blocks that the fit starts from."""
    low_quantile(medians, count, max(1, int(np.rint(WINDOW_MM / spacing_mm))), start, order, seen)
    any_taken, lowest = False, np.inf
    for k in range(count):
        tolerance[k] = max(_TOLERANCE_SIGMA * sigma, _TOLERANCE_SHARE * np.abs(start[k]))
        taken[k] = np.abs(medians[k] - start[k]) <= tolerance[k]
        any_taken |= taken[k]
        lowest = min(lowest, medians[k])
    if not any_taken:
        for k in range(count):
            taken[k] = medians[k] == lowest


@compiled
def fit_two(
    medians: Array,
    other_medians: Array,
    tolerance: Array,
    other_tolerance: Array,
    taken: Mask,
    other_taken: Mask,
    curve: Array,
    other_curve: Array,
    count: int,
    both: bool,
    now: Mask,
    unused: Array,
    factors: Array,
) -> None:
    """Fit two channels, each through the blocks that lie close to its curve, until these stay the same.

    `both` is false when there is no other channel; it is then worked out for nothing.
    """
    rounds, done, other_done, last, other_last = 0, False, not both, False, False
    while not (done and other_done):
        smooth_two(
            medians,
            other_medians,
            taken,
            other_taken,
            count,
            unused if done else curve,
            unused if other_done else other_curve,
            factors,
        )
        rounds += 1
        if not done:
            if last:
                done = True
            else:
                done, last = _next_round(medians, tolerance, taken, curve, count, now, rounds)
        if not other_done:
            if other_last:
                other_done = True
            else:
                other_done, other_last = _next_round(
                    other_medians, other_tolerance, other_taken, other_curve, count, now, rounds
                )


@compiled
def _next_round(
    medians: Array, tolerance: Array, taken: Mask, curve: Array, count: int, now: Mask, rounds: int
) -> tuple[bool, bool]:
    """Blocks of the next round, written to `taken`; whether the curve is final, and whether its next is."""
    any_now, same = False, True
    for k in range(count):
        now[k] = np.abs(medians[k] - curve[k]) <= tolerance[k]
        any_now |= now[k]
        same &= now[k] == taken[k]
    if any_now and not same:
        for k in range(count):
            taken[k] = now[k]
        if rounds < _ROUNDS:
            return False, False
    any_sound, changed = False, any_now and not same
    for k in range(count):
        above = medians[k] > curve[k] + tolerance[k]
        above |= k > 0 and medians[k - 1] > curve[k - 1] + tolerance[k - 1]
        above |= k < count - 1 and medians[k + 1] > curve[k + 1] + tolerance[k + 1]
        now[k] = taken[k] and not above
        any_sound |= now[k]
        changed |= now[k] != taken[k]
    if not any_sound or not changed:
        return True, False
    for k in range(count):
        taken[k] = now[k]
    return False, True


@compiled
def interpolate(
    curve: Array, starts: NDArray[np.int64], size: int, count: int, n: int, baseline: Array
) -> None:
    """Curve on the grid of the samples, by the formula of ``numpy.interp``; up to 16 samples further."""
    middle = (size - 1) / 2.0
    first = int(np.ceil(starts[0] + middle))
    for i in range(first):
        baseline[i] = curve[0]
    for k in range(count - 1):
        x, after = starts[k] + middle, starts[k + 1] + middle
        last = int(np.ceil(after))
        slope = (curve[k + 1] - curve[k]) / (after - x)
        for i in range(first, last, LANES):
            write_line(baseline, i, x, curve[k], slope)
        first = last
    for i in range(first, n):
        baseline[i] = curve[count - 1]

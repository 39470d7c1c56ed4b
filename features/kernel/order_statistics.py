"""Exact order statistics of an unsorted array, by counting.

Counting what lies at or below a threshold runs through vector registers, several samples a
cycle, where sorting or partitioning runs one by one. Thresholds are guessed by regula falsi
on the counts; whatever the guesses, the answer is a value of the array, bit by bit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled, larger, reordering, smaller
from seamtell.features.kernel.lanes import LANES
from seamtell.features.kernel.rank_vectors import (
    count_keys,
    gather_between,
    mask_small_steps,
    values_of_ranks,
)
from seamtell.features.kernel.sort_vectors import SORTED, sort_in_registers
from seamtell.features.kernel.vectors import count_ones

__all__ = [
    "MEDIAN_OVER_MEAN",
    "bracket",
    "count_at_most",
    "density_at_median",
    "fill_up",
    "median_of_odd",
    "median_of_smallest",
    "more_small_steps",
    "neighbours",
    "pair_of_few",
    "places_between",
    "rank_pair",
    "round_to_keys",
    "smallest_of_part",
    "whole_lanes",
]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
Indices = NDArray[np.int64]

_LARGEST = float(np.finfo(np.float32).max)

_FEW = 512
"""So many candidates are narrowed down by counting; more are narrowed down by partition."""
_PAIRS = 96
"""So few are compared each with each."""
_GUESSES = 8
_MARGIN = 6
"""Thresholds aim so many ranks beside the one sought, so that it is soon between two of them."""
_SHARE = 768
"""Where values are many, they aim by this part of them beside it, up to a quarter of `_FEW`: one more
count is then dearer than more candidates."""
_BEYOND = 0.3
"""They aim further beside it by this share of the ranks that the one before was off."""
MEDIAN_OVER_MEAN = 0.845
"""Of half a normal variable."""
_HALF_NORMAL_DENSITY = 0.43
"""Density of half a normal variable at its median, times that median."""


@reordering
def count_at_most(values: Array, n: int, threshold: float) -> int:
    """How many of the first n values are at most the threshold."""
    count = 0.0  # a float, so that it is counted in the registers of the values
    for i in range(n):
        count += 1.0 if values[i] <= threshold else 0.0
    return int(count)


@compiled
def more_small_steps(samples: Samples, n: int, limit: np.float32, rank: int) -> bool:
    """Whether more of the n steps from sample to sample than `rank`, rounded to float32, are below the limit.

    Stops as soon as it is clear. Reads up to 64 samples further.
    """
    small, rest = 0, n % 64
    for at in range(0, n - 63, 64):
        small += count_ones(mask_small_steps(samples, at, limit))
        if small > rank or small + n - at - 64 <= rank:
            return small > rank
    if rest != 0:
        inside = (np.uint64(1) << np.uint64(rest)) - np.uint64(1)
        small += count_ones(mask_small_steps(samples, n - rest, limit) & inside)
    return small > rank


@compiled
def neighbours(values: Array, n: int, threshold: float) -> tuple[float, float]:
    """Largest value at or below the threshold, and smallest above it; infinite without such."""
    below, above = -np.inf, np.inf
    for i in range(n):
        value = values[i]
        outside = np.inf if value > threshold else 0.0
        inside = 0.0 if value > threshold else np.inf
        # Adding or taking away infinity, not a choice between two values: only this is vectorised.
        below = larger(below, value - outside)
        above = smaller(above, value + inside)
    return below, above


@compiled
def round_to_keys(values: Array, n: int, keys: Samples) -> None:
    """Values rounded to float32, which keeps their order, and infinity up to a whole number of lanes."""
    for i in range(n):
        keys[i] = values[i]
    fill_up(keys, n, 4 * LANES)


@compiled
def fill_up(values: Array | Samples, n: int, further: int) -> None:
    """Write infinity behind the first n values."""
    behind = values[n : n + further]
    for i in range(further):
        behind[i] = np.inf


@compiled
def whole_lanes(n: int) -> int:
    """Number of keys with those that fill up the last lanes."""
    return (n + 4 * LANES - 1) // (4 * LANES) * (4 * LANES)


@compiled
def rank_pair(
    values: Array,
    keys: Samples,
    n: int,
    rank: int,
    guess: float,
    density: float,
    places: Indices,
    scratch: Array,
) -> tuple[float, float]:
    """The values of ranks `rank` and `rank + 1` (from 0) of the first n; the second infinite at the end.

    Counts at a few thresholds narrow the candidates down, which are gathered then.

    Parameters
    ----------
    values, scratch : float64 arrays of shape (>= n + LANES,)
        No NaN; the scratch is overwritten.
    keys : float32 array of shape (>= n + 4 * LANES,)
        From `round_to_keys`.
    n, rank : int
    guess, density : float
        About the answer, and about how many values a unit there are near it; the better, the faster.
    places : int64 array of shape (>= n + LANES,)
        Scratch.
    """
    low, n_low, high, n_high = bracket(keys, n, rank, guess, density)
    m = places_between(keys, n, low, high, n_high - n_low, places)
    for k in range(m):
        scratch[k] = values[places[k]]
    value, after = pair_of_few(scratch, m, rank - n_low)
    if after == np.inf and rank + 1 < n:
        after = neighbours(values, n, value)[1]
    return value, after


@compiled
def bracket(
    keys: Samples, n: int, rank: int, guess: float, density: float
) -> tuple[np.float32, int, np.float32, int]:
    """Two thresholds about the key of a rank, and how many of the n keys are at most either; see `rank_pair`.

    The first threshold is below the key, the second is not.
    """
    low, n_low, high, n_high = np.float32(-np.inf), 0, np.float32(np.inf), n
    threshold, whole = np.float32(guess), whole_lanes(n)
    margin = max(_MARGIN, min(n // _SHARE, _FEW // 4))
    for _ in range(_GUESSES):
        if n_high - n_low <= 3 * margin or not low < threshold < high:
            break
        count = count_keys(keys, whole, threshold)
        if count <= rank:
            low, n_low = threshold, count
        else:
            high, n_high = threshold, count
        if low == -np.inf or high == np.inf:
            step = float(rank - count)
            step += max(margin, _BEYOND * step) if count <= rank else min(-margin, _BEYOND * step)
            threshold = np.float32(threshold + step / density)
        else:
            aim = rank + margin if n_high - rank > rank - n_low else rank - margin
            share = (aim - n_low) / (n_high - n_low)
            threshold = np.float32(low + (high - low) * min(max(share, 0.1), 0.9))
    if n_high == rank + 1 < n:  # the next rank belongs inside, too
        high = np.float32(high + margin / density)
        n_high = count_keys(keys, whole, high)
    return low, n_low, high, n_high


@compiled
def places_between(
    keys: Samples, n: int, low: np.float32, high: np.float32, inside: int, places: Indices
) -> int:
    """Places of the keys above `low` and up to `high`, of which there are `inside`; their number."""
    m = 0
    finite = min(high, np.float32(_LARGEST))
    for i in range(0, n, 4 * LANES):
        m = gather_between(keys, i, low, finite, places, m)
    if m == inside:
        return m
    m = 0  # keys beyond the largest float32 are infinite, like those that fill up
    for i in range(n):
        places[m] = i
        m += 1 if low < keys[i] <= high else 0
    return m


@compiled
def pair_of_few(values: Array, m: int, rank: int) -> tuple[float, float]:
    """The values of two neighbouring ranks of all m values; the second infinite when there is none.

    Writes up to `LANES` values further.
    """
    if m <= _PAIRS:
        fill_up(values, m, LANES)
        value, after, _ = values_of_ranks(values, m, rank, rank + 1, rank)
        return value, after
    if m > _FEW:
        value = smallest_of_part(values, 0, m - 1, rank)
        after = np.inf
        for i in range(rank + 1, m):
            after = smaller(after, values[i])
        return value, after
    low, high = -np.inf, np.inf
    for i in range(m):
        low, high = larger(low, -values[i]), smaller(high, -values[i])
    low, high = -low, -high  # smallest and largest
    n_low, n_high = 0, m  # at or below `low` are taken as few as is sure, at or below `high` all
    threshold = low + (high - low) * ((rank + 1) / (m + 1))
    while low < high:
        count = count_at_most(values, m, threshold)
        if count == rank + 1:
            return neighbours(values, m, threshold)
        below, above = neighbours(values, m, threshold)
        if count <= rank:
            low, n_low = above, count
        else:
            high, n_high = below, count
        share = (rank + 1 - n_low) / (n_high - n_low)
        threshold = low + (high - low) * min(max(share, 0.1), 0.9)
        if not threshold < high:
            threshold = low
    return low, low if rank + 1 < n_high else neighbours(values, m, high)[1]


@compiled
def smallest_of_part(values: Array, first: int, last: int, rank: int) -> float:
    """Value of index `rank` when ``values[first : last + 1]`` is sorted, by quickselect (Hoare), in place."""
    while first < last:
        pivot = values[(first + last) // 2]
        i, j = first, last
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if rank <= j:
            last = j
        elif rank >= i:
            first = i
        else:
            break
    return values[rank]


@compiled
def median_of_smallest(
    values: Array, keys: Samples, n: int, m: int, guess: float, places: Indices, scratch: Array
) -> float:
    """Median of the m smallest values, equal to ``numpy.median`` of them bit by bit.

    `guess` is about the answer, and they are about half of a normal distribution about zero.
    """
    low, high = rank_pair(values, keys, n, (m - 1) // 2, guess, density_at_median(m, guess), places, scratch)
    return low if m % 2 == 1 else (low + high) / 2.0


@compiled
def median_of_odd(values: Array, n: int, keys: Samples, places: Indices, scratch: Array) -> float:
    """Median of an odd number of values; what stands behind them is overwritten."""
    middle = n // 2
    if n > SORTED + 1:
        round_to_keys(values, n, keys)
        guess, density = _mean_and_density(values, n)
        return rank_pair(values, keys, n, middle, guess, density, places, scratch)[0]
    if n <= SORTED:
        fill_up(values, n, SORTED)
        sort_in_registers(values, scratch)
        return scratch[middle]
    sort_in_registers(values, scratch)  # the last one is before both middle ones, between, or after both
    return larger(scratch[middle - 1], smaller(scratch[middle], values[SORTED]))


@reordering
def _mean_and_density(values: Array, n: int) -> tuple[float, float]:
    """Mean, and about how many values a unit there are near it."""
    total, spread = 0.0, 0.0
    for i in range(n):
        total += values[i]
    mean = total / n
    for i in range(n):
        spread += np.abs(values[i] - mean)
    width = 2.0 * spread / n
    return mean, 0.5 * n / max(width, 1e-12 * np.abs(mean) + 1e-300)


@compiled
def density_at_median(m: int, median: float) -> float:
    """Values a unit near the median of m values that are half of a normal distribution about zero."""
    return m * _HALF_NORMAL_DENSITY / max(np.abs(median), 1e-300)

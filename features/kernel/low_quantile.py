"""The running low quantile of the block medians.

The values are ranked once. A window is a mask over the ranks of the values that it holds, so its
quantile is at the mask's r-th bit, and it slides on by two bits that change.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _START_QUANTILE
from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.rank_vectors import count_smaller
from seamtell.features.kernel.sort_vectors import SORTED, rank_in_registers
from seamtell.features.kernel.vectors import count_ones, trailing_zeros

__all__ = ["low_quantile"]

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_WINDOWS = 32
"""Windows of one sweep; more make the ranking dearer, fewer repeat it more often."""
_FURTHER = 8
"""So many values are put one by one among those that are sorted in registers; more are ranked by counting."""
_LARGEST = 2.0**1000
"""Above any median of float32 samples."""


@compiled
def low_quantile(
    medians: Array, count: int, width: int, start: Array, order: Indices, seen: Indices, ascending: Array
) -> None:
    """Write the low quantile about every block to `start`.

    Parameters
    ----------
    medians, start : ndarray of shape (>= count + 64,)
        Medians are followed by anything, which is overwritten.
    count, width : int
        Number of blocks, odd; width of the window in blocks.
    order, seen : int64 arrays of shape (>= 2 * count + 64,)
        Scratch.
    ascending : ndarray of shape (>= count + 64,)
        Scratch.
    """
    width = min(width - 1 + width % 2, count)
    rank = int(_START_QUANTILE * (width - 1))
    half = width // 2
    for i in range(count, count + SORTED):
        medians[i] = _LARGEST
    at_once, whole = _WINDOWS, count - width + 1
    if whole > _WINDOWS and SORTED - width >= _WINDOWS // 2:
        at_once = SORTED - width + 1  # no value has to be put among the sorted ones
    for first in range(0, whole, at_once):
        windows = min(at_once, whole - first)
        _rank(medians[first:], windows + width - 1, order, seen, ascending)
        _sweep(ascending, seen, windows, width, rank, order, start[first + half :])
    for k in range(half):
        start[k] = start[half]
        start[count - 1 - k] = start[count - width + half]


@compiled
def _rank(values: Array, n: int, order: Indices, ranks: Indices, ascending: Array) -> None:
    """Rank of every value, another one for each of equal ones, and the values in ascending order.

    Of fewer than `SORTED` values also those behind them up to so many are ranked along.
    """
    if n > SORTED + _FURTHER or not rank_in_registers(values, ascending, order):
        _rank_by_counting(values, n, order, ranks, ascending)
        return
    for rank in range(SORTED):
        ranks[order[rank]] = rank
    for i in range(SORTED, n):
        _put(values, i, ranks, ascending)


@compiled
def _put(values: Array, n: int, ranks: Indices, ascending: Array) -> None:
    """Give the next value a rank among n that have theirs."""
    value, rank = values[n], 0
    for i in range(n):
        before = 1 if values[i] <= value else 0
        rank += before
        ranks[i] += 1 - before
    for i in range(n, rank, -1):
        ascending[i] = ascending[i - 1]
    ranks[n], ascending[rank] = rank, value


@compiled
def _rank_by_counting(values: Array, n: int, equal: Indices, ranks: Indices, ascending: Array) -> None:
    """`_rank` of any number of values."""
    count_smaller(values, n, ranks)
    for i in range(n):
        equal[i] = 0
    for i in range(n):
        smaller = ranks[i]
        rank = smaller + equal[smaller]
        equal[smaller] += 1
        ranks[i] = rank
        ascending[rank] = values[i]


@compiled
def _sweep(
    ascending: Array, ranks: Indices, windows: int, width: int, rank: int, words: Indices, quantile: Array
) -> None:
    """Quantiles of the windows that begin at each of the first `windows` values."""
    if windows + width - 1 > 2 * WORD:
        _sweep_wide(ascending, ranks, windows, width, rank, words, quantile)
        return
    low, high = 0, 0  # bits of the lower ranks, and of the others
    for i in range(width):
        low, high = low ^ _bit(ranks[i], 0), high ^ _bit(ranks[i], 1)
    for window in range(windows):
        here = count_ones(low)
        if rank < here:
            quantile[window] = ascending[_place_in(low, rank)]
        else:
            quantile[window] = ascending[WORD + _place_in(high, rank - here)]
        gone, come = ranks[window], ranks[window + width]
        low ^= _bit(gone, 0) ^ _bit(come, 0)
        high ^= _bit(gone, 1) ^ _bit(come, 1)


@compiled
def _bit(place: int, word: int) -> int:
    """The bit of a place in one of two words, zero when it is in the other one."""
    return (1 if place // WORD == word else 0) << (place % WORD)


@compiled
def _place_in(word: int, rank: int) -> int:
    """Place of the bit that has so many set bits before it, which there are."""
    for _ in range(rank):
        word &= word - 1
    return trailing_zeros(word)


@compiled
def _sweep_wide(
    ascending: Array, ranks: Indices, windows: int, width: int, rank: int, words: Indices, quantile: Array
) -> None:
    """`_sweep` of any number of values."""
    for k in range((windows + width - 2) // WORD + 1):
        word = 0
        for i in range(width):
            place = ranks[i] - k * WORD
            word |= 1 << (place & (WORD - 1)) if 0 <= place < WORD else 0
        words[k] = word
    for window in range(windows):
        quantile[window] = ascending[_place_of(words, rank)]
        if window + 1 < windows:
            _flip(words, ranks[window])
            _flip(words, ranks[window + width])


@compiled
def _flip(words: Indices, place: int) -> None:
    words[place // WORD] ^= 1 << (place % WORD)


@compiled
def _place_of(words: Indices, rank: int) -> int:
    """Place of the bit that has so many set bits before it."""
    at = 0
    here = count_ones(words[0])
    while rank >= here:
        rank -= here
        at += 1
        here = count_ones(words[at])
    return at * WORD + _place_in(words[at], rank)

"""The running low quantile of the block medians.

The values are ranked once. A window is a mask over the ranks of the values that it holds, so its
quantile is at the mask's r-th bit, and it slides on by two bits that change.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _START_QUANTILE
from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.compiling import compiled, reordering
from seamtell.features.kernel.rank_vectors import ranks_of
from seamtell.features.kernel.vectors import LANES, count_ones, trailing_zeros

__all__ = ["low_quantile"]

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Ranks = NDArray[np.int32]
Words = NDArray[np.uint64]

_WINDOWS = 32
"""Windows of one sweep; more make the ranking dearer, fewer repeat it more often."""
_ONE = np.uint64(1)
_NONE = np.uint64(0)


@compiled
def low_quantile(
    medians: Array, count: int, width: int, start: Array, order: Indices, seen: Indices, ascending: Array
) -> None:
    """Write the low quantile about every block to `start`.

    Parameters
    ----------
    medians, start : ndarray of shape (>= count,)
    count, width : int
        Number of blocks, odd; width of the window in blocks.
    order, seen : int64 arrays of shape (>= 2 * count + 64,)
        Scratch.
    ascending : ndarray of shape (>= count,)
        Scratch.
    """
    width = min(width - 1 + width % 2, count)
    rank = int(_START_QUANTILE * (width - 1))
    half = width // 2
    narrow, ranks = order.view(np.float32), seen.view(np.int32)
    words = order[count + LANES :].view(np.uint64)
    for first in range(0, count - width + 1, _WINDOWS):
        windows = min(_WINDOWS, count - width + 1 - first)
        n = windows + width - 1
        _rank(medians[first:], n, narrow, ranks, ascending)
        _sweep(ascending, ranks, windows, width, rank, words, start[first + half :])
    for k in range(half):
        start[k] = start[half]
        start[count - 1 - k] = start[count - width + half]


@compiled
def _rank(values: Array, n: int, narrow: NDArray[np.float32], ranks: Ranks, ascending: Array) -> None:
    """Rank of every value, and the values in ascending order.

    Values are ranked as rounded to float32; where that leaves them out of order, they are ranked again.
    """
    for i in range(n):
        narrow[i] = values[i]
    ranks_of(narrow, n, ranks)
    for i in range(n):
        ascending[ranks[i]] = values[i]
    if _falls(ascending, ascending[1:], n - 1) > 0.0:
        for i in range(n):
            rank = 0
            for j in range(n):
                rank += 1 if values[j] < values[i] or (values[j] == values[i] and j < i) else 0
            ranks[i] = rank
            ascending[rank] = values[i]


@reordering
def _falls(values: Array, following: Array, n: int) -> float:
    """How often a value is followed by a smaller one."""
    count = 0.0
    for i in range(n):
        count += 1.0 if following[i] < values[i] else 0.0
    return count


@compiled
def _sweep(
    ascending: Array, ranks: Ranks, windows: int, width: int, rank: int, words: Words, quantile: Array
) -> None:
    """Quantiles of the windows that begin at each of the first `windows` values."""
    for k in range((windows + width - 2) // WORD + 1):
        word = _NONE
        for i in range(width):
            place = np.int64(ranks[i]) - k * WORD
            word |= _ONE << np.uint64(place & (WORD - 1)) if 0 <= place < WORD else _NONE
        words[k] = word
    for window in range(windows):
        quantile[window] = ascending[_place_of(words, rank)]
        if window + 1 < windows:
            _flip(words, np.int64(ranks[window]))
            _flip(words, np.int64(ranks[window + width]))


@compiled
def _flip(words: Words, place: int) -> None:
    words[place // WORD] ^= _ONE << np.uint64(place % WORD)


@compiled
def _place_of(words: Words, rank: int) -> int:
    """Place of the bit that has so many set bits before it."""
    at = 0
    here = count_ones(words[0])
    while rank >= here:
        rank -= here
        at += 1
        here = count_ones(words[at])
    word = words[at]
    for _ in range(rank):
        word &= word - _ONE
    return at * WORD + trailing_zeros(word)

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
from seamtell.features.kernel.vectors import count_ones, trailing_zeros

__all__ = ["low_quantile"]

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_WINDOWS = 32
"""Windows of one sweep; more make the ranking dearer, fewer repeat it more often."""


@compiled
def low_quantile(
    medians: Array, count: int, width: int, start: Array, order: Indices, seen: Indices, ascending: Array
) -> None:
    """Write the low quantile about every block to `start`.

    Parameters
    ----------
    medians, start : ndarray of shape (>= count + 64,)
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
    for first in range(0, count - width + 1, _WINDOWS):
        windows = min(_WINDOWS, count - width + 1 - first)
        _rank(medians[first:], windows + width - 1, order, seen, ascending)
        _sweep(ascending, seen, windows, width, rank, order, start[first + half :])
    for k in range(half):
        start[k] = start[half]
        start[count - 1 - k] = start[count - width + half]


@compiled
def _rank(values: Array, n: int, equal: Indices, ranks: Indices, ascending: Array) -> None:
    """Rank of every value, the earlier of equal ones first, and the values in ascending order."""
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
    word = words[at]
    for _ in range(rank):
        word &= word - 1
    return at * WORD + trailing_zeros(word)

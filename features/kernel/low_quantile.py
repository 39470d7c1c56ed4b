"""The running low quantile of the block medians, for up to 64 windows at once.

The values are taken in ascending order. Each one is counted for every window that holds it;
a window's quantile is the value with which its count reaches the rank. The counts of the
windows are binary numbers written upright: bit k of every count is in word k, so one addition
goes on in all windows at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _START_QUANTILE
from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.rank_vectors import count_smaller
from seamtell.features.kernel.vectors import LANES

__all__ = ["low_quantile"]

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_WINDOWS = 32
"""Windows of one sweep; more make the sorting dearer, fewer repeat it more often."""
_ONE = np.uint64(1)
_NONE = np.uint64(0)


@compiled
def low_quantile(medians: Array, count: int, width: int, start: Array, order: Indices, seen: Indices) -> None:
    """Write the low quantile about every block to `start`.

    Parameters
    ----------
    medians, start : ndarray of shape (>= count,)
    count, width : int
        Number of blocks, odd; width of the window in blocks.
    order, seen : int64 arrays of shape (>= 2 * count + 64,)
        Scratch.
    """
    width = min(width - 1 + width % 2, count)
    rank = int(_START_QUANTILE * (width - 1))
    half = width // 2
    for first in range(0, count - width + 1, _WINDOWS):
        windows = min(_WINDOWS, count - width + 1 - first)
        inside = medians[first : first + windows + width - 1]
        _sweep(inside, windows, width, rank, start[first + half :], order, seen)
    for k in range(half):
        start[k] = start[half]
        start[count - 1 - k] = start[count - width + half]


@compiled
def _sweep(
    values: Array, windows: int, width: int, rank: int, quantile: Array, order: Indices, seen: Indices
) -> None:
    """Quantiles of the windows that begin at each of the first `windows` values."""
    n = len(values)
    _sort(values, n, order, seen)
    bits = 1
    while (1 << bits) < rank + 1:
        bits += 1
    planes = seen.view(np.uint64)  # counts begin so high that they run over on reaching the rank
    for k in range(bits):
        planes[k] = ~_NONE if ((1 << bits) - (rank + 1)) >> k & 1 else _NONE
    waiting = (_ONE << np.uint64(windows)) - _ONE
    for i in range(n):
        at = order[i]
        low, high = max(0, at - width + 1), min(at, windows - 1)
        carry = ((_ONE << np.uint64(high - low + 1)) - _ONE) << np.uint64(low)
        for k in range(bits):
            both = planes[k] & carry
            planes[k] ^= carry
            carry = both
        carry &= waiting
        if carry != _NONE:
            waiting ^= carry
            for window in range(low, high + 1):
                if carry >> np.uint64(window) & _ONE:
                    quantile[window] = values[at]
            if waiting == _NONE:
                return


@compiled
def _sort(values: Array, n: int, order: Indices, seen: Indices) -> None:
    """Indices in ascending order of the values, by counting for every one how many are smaller.

    That is counted on values rounded to float32; what they leave in the wrong order is put right.
    """
    narrow, ranks = order.view(np.float32)[: n + LANES], seen.view(np.int32)[: n + LANES]
    for i in range(n):
        narrow[i] = values[i]
    for i in range(0, n, LANES):
        count_smaller(narrow, n, i, ranks)
    taken = seen[n + LANES :]
    for i in range(n):
        taken[i] = 0
    for i in range(n):
        rank = ranks[i]
        order[rank + taken[rank]] = i
        taken[rank] += 1
    for i in range(1, n):
        one, k = order[i], i
        while k > 0 and values[order[k - 1]] > values[one]:
            order[k] = order[k - 1]
            k -= 1
        order[k] = one

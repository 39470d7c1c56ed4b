"""Comparator networks that bring the median of a few values to the middle, for many lanes at once.

References
----------
D. E. Knuth, The Art of Computer Programming 3, section 5.2.2, algorithm M (merge exchange,
K. E. Batcher 1968), here cut down to the comparators that the middle ranks depend on.

A. W. Paeth, Median finding on a 3 x 3 grid, Graphics Gems (1990); N. Devillard, Fast median search
(1998): shorter ones for seven and nine values.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["LARGEST", "median_network"]

LARGEST = 64
"""Most values of a network; beyond, the values are partitioned one by one."""

_SHORTEST = {
    7: "05 03 16 24 01 35 26 23 36 45 14 13 34",
    9: "12 45 78 01 34 67 12 45 78 03 58 47 36 14 25 47 42 64 42",
}
"""Networks for the median alone that are shorter than those of a sort, for windows that are usual."""


def median_network(size: int) -> NDArray[np.int32]:
    """Comparators that put rank ``size // 2``, and for even sizes the rank before it, to their places.

    Parameters
    ----------
    size : int
        At least 1.

    Returns
    -------
    int32 array of shape (n, 2)
        The smaller value goes to the first index.

    Examples
    --------
    >>> median_network(3).tolist()
    [[0, 2], [0, 1], [1, 2]]
    """
    needed = {(size - 1) // 2, size // 2}
    kept: list[tuple[int, int]] = []
    for a, b in reversed(_shortest(size) or _merge_exchange(size)):
        if a in needed or b in needed:
            needed |= {a, b}
            kept.append((a, b))
    return np.array(kept[::-1], dtype=np.int32).reshape(-1, 2)


def _shortest(size: int) -> list[tuple[int, int]]:
    """From the table; empty for sizes that it does not hold."""
    return [(int(pair[0]), int(pair[1])) for pair in _SHORTEST.get(size, "").split()]


def _merge_exchange(size: int) -> list[tuple[int, int]]:
    """Comparators of Batcher's merge exchange, which sorts any number of values."""
    pairs: list[tuple[int, int]] = []
    top = 1 << max(0, (size - 1).bit_length() - 1)
    p = top
    while p > 0:
        q, r, d = top, 0, p
        while d > 0:
            pairs += [(i, i + d) for i in range(size - d) if i & p == r]
            d, q, r = q - p, q // 2, p
        p //= 2
    return pairs

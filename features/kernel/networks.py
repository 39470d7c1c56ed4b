"""Comparator networks that bring the median of a few values to the middle, for many lanes at once.

References
----------
D. E. Knuth, The Art of Computer Programming 3, section 5.2.2, algorithm M (merge exchange,
K. E. Batcher 1968), here cut down to the comparators that the middle ranks depend on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["LARGEST", "median_network"]

LARGEST = 64
"""Most values of a network; beyond, the values are partitioned one by one."""


def median_network(size: int) -> NDArray[np.int32]:
    """Comparators that put rank ``size // 2``, and for even sizes the rank before it, to their places.

    Parameters
    ----------
    size : int
        At least 1.

    Returns
    -------
    int32 array of shape (n, 2)
        Smaller index first; the smaller value goes there.

    Examples
    --------
    >>> median_network(3).tolist()
    [[0, 2], [0, 1], [1, 2]]
    """
    needed = {(size - 1) // 2, size // 2}
    kept: list[tuple[int, int]] = []
    for a, b in reversed(_merge_exchange(size)):
        if a in needed or b in needed:
            needed |= {a, b}
            kept.append((a, b))
    return np.array(kept[::-1], dtype=np.int32).reshape(-1, 2)


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

"""Where a channel falls below a level, or no longer does, 64 samples at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.descriptor_masks import mask_below
from seamtell.features.kernel.vectors import leading_zeros, trailing_zeros

__all__ = ["AT_LEAST", "BELOW", "first_where", "last_where"]

Array = NDArray[np.float64]

BELOW, AT_LEAST = np.uint64(0), np.uint64(2**64 - 1)
"""What is searched for: a value below the level, or one that is not."""


@compiled
def first_where(what: np.uint64, e: Array, first: int, last: int, level: float) -> int:
    """First sample from `first` to `last`, beyond `last` when there is none; reads up to 63 further."""
    for at in range(first, last + 1, WORD):
        word = mask_below(e, at, level) ^ what
        if word != np.uint64(0):
            return min(at + trailing_zeros(word), last + 1)
    return last + 1


@compiled
def last_where(what: np.uint64, e: Array, first: int, last: int, level: float) -> int:
    """Last sample from `first` to `last`, before `first` when there is none; reads up to 63 beyond `last`."""
    end = last
    while end >= first:
        at = max(end - WORD + 1, first)
        word = (mask_below(e, at, level) ^ what) << np.uint64(at + WORD - 1 - end)
        if word != np.uint64(0):
            return end - leading_zeros(word)
        end = at - 1
    return first - 1

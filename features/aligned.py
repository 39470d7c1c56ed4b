"""Arrays whose rows begin with a line of the cache: vectors that lie across two lines take twice as long."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["LINE_BYTES", "aligned_empty", "whole_lines"]

LINE_BYTES = 64
"""Of the cache."""

Number = TypeVar("Number", np.uint8, np.float32, np.float64, np.int64, np.uint64)


def aligned_empty(shape: int | tuple[int, ...], kind: type[Number]) -> NDArray[Number]:
    """Array like that of ``numpy.empty``, with rows at least so long, each of which begins with a line.

    Parameters
    ----------
    shape : int or tuple of int
        The last number is the length of a row, and is made up to whole lines.
    kind : type
        Of the numbers.

    Examples
    --------
    >>> aligned_empty((2, 9), np.float64).shape
    (2, 16)
    """
    *rows, length = (shape,) if isinstance(shape, int) else shape
    length = whole_lines(length, kind)
    size = math.prod(rows) * length
    held = np.empty(size + LINE_BYTES // np.dtype(kind).itemsize, kind)
    first = -held.ctypes.data % LINE_BYTES // held.itemsize
    return held[first : first + size].reshape(*rows, length)


def whole_lines(numbers: int, kind: type[Number]) -> int:
    """So many numbers and those that fill up the last line.

    Examples
    --------
    >>> whole_lines(9, np.float64)
    16
    """
    line = LINE_BYTES // np.dtype(kind).itemsize
    return -(-numbers // line) * line

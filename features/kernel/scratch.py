"""Working memory of the kernels, for the longest seam of a batch."""

from __future__ import annotations

import math
import threading
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.chain_vectors import FACTORS, MEETING
from seamtell.features.kernel.lanes import LANES, LINE_BYTES
from seamtell.features.kernel.networks import LARGEST

__all__ = ["Scratch", "scratch_for"]

_SPARE = 64
"""Further numbers behind every row, so that loops may run over to a whole number of lanes."""

Number = TypeVar("Number", np.float32, np.float64, np.int64, np.uint64)


class Scratch(NamedTuple):
    """Arrays that every seam overwrites; rows are channels unless said otherwise.

    `padded` holds the amplitudes, the first sample of the seam at index `pad`. `values`,
    `tolerance`, `taken` and `folded` are folded, see ``smooth_fit``; the last row of `folded`
    belongs to no channel.
    """

    pad: int
    padded: NDArray[np.float32]
    quiet: NDArray[np.float32]
    tile: NDArray[np.float32]
    baseline: NDArray[np.float64]
    rounded: NDArray[np.float32]
    excursion: NDArray[np.float64]
    smooth: NDArray[np.float64]
    work: NDArray[np.float64]
    keys: NDArray[np.float32]
    sums: NDArray[np.float64]
    medians: NDArray[np.float64]
    start: NDArray[np.float64]
    values: NDArray[np.float64]
    tolerance: NDArray[np.float64]
    taken: NDArray[np.float64]
    folded: NDArray[np.float64]
    now: NDArray[np.float64]
    above: NDArray[np.float64]
    curve: NDArray[np.float64]
    factors: NDArray[np.float64]
    meeting: NDArray[np.float64]
    blocks: NDArray[np.int64]
    order: NDArray[np.int64]
    standing: NDArray[np.uint64]
    rising: NDArray[np.uint64]
    over: NDArray[np.uint64]
    kept: NDArray[np.uint64]
    rest: NDArray[np.uint64]
    near: NDArray[np.float64]
    segments: NDArray[np.int64]
    offsets: NDArray[np.int64]
    extents: NDArray[np.float64]
    per_channel: NDArray[np.float64]


_held = threading.local()


def scratch_for(channels: int, longest: int, pad: int) -> Scratch:
    """Room for seams of up to `longest` samples, with at least `pad` reflected ones on either side.

    Each thread keeps its last one: batches that follow each other mostly need the same, and making
    it takes as long as describing six seams.
    """
    needed = channels, longest, pad
    if getattr(_held, "needed", None) != needed:
        _held.scratch, _held.needed = _make_scratch(*needed), needed
    scratch: Scratch = _held.scratch
    return scratch


def _make_scratch(channels: int, longest: int, pad: int) -> Scratch:
    n, pad = longest + _SPARE, _whole_lines(pad, np.float32)
    wide = n + 2 * pad
    words = longest // WORD + 2
    members = channels * (longest // 2 + 2)
    return Scratch(
        pad,
        _rows((channels, wide), np.float32),
        _rows(wide, np.float32),
        _rows(max(LANES * (LARGEST + 1), wide), np.float32),
        _rows((channels, n), np.float64),
        _rows((channels, n), np.float32),
        _rows((channels, n), np.float64),
        _rows((2, n), np.float64),
        _rows((2, 8 * longest + 6 * _SPARE), np.float64),
        _rows(n, np.float32),
        _rows((2, wide), np.float64),
        _rows((channels, n), np.float64),
        _rows(n, np.float64),
        _rows((channels, n), np.float64),
        _rows((channels, n), np.float64),
        _rows((channels, n), np.float64),
        _rows((channels + 1, n), np.float64),
        _rows(n, np.float64),
        _rows(n, np.float64),
        _rows(n, np.float64),
        _rows(FACTORS * n, np.float64),
        _rows(MEETING, np.float64),
        _rows(n, np.int64),
        _rows((2, 2 * n), np.int64),
        _rows((channels, words), np.uint64),
        _rows((channels, words), np.uint64),
        _rows((channels, words), np.uint64),
        _rows(words, np.uint64),
        _rows(words, np.uint64),
        _rows((3, 3 * n), np.float64),
        _rows((6, members), np.int64),
        _rows(channels + 1, np.int64),
        _rows((2, members), np.float64),
        _rows((6, channels), np.float64),
    )


def _rows(shape: int | tuple[int, int], kind: type[Number]) -> NDArray[Number]:
    """Rows at least so long, each of which begins with a line of the cache."""
    *rows, length = (shape,) if isinstance(shape, int) else shape
    length = _whole_lines(length, kind)
    held = np.empty(math.prod(rows) * length + LINE_BYTES // np.dtype(kind).itemsize, kind)
    first = -held.ctypes.data % LINE_BYTES // held.itemsize
    return held[first : first + math.prod(rows) * length].reshape(*rows, length)


def _whole_lines(numbers: int, kind: type[Number]) -> int:
    """So many numbers and those that fill up the last line of the cache."""
    line = LINE_BYTES // np.dtype(kind).itemsize
    return -(-numbers // line) * line

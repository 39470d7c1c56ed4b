"""Working memory of the kernels, for the longest seam of a batch."""

from __future__ import annotations

import threading
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seamtell.features.aligned import aligned_empty, whole_lines
from seamtell.features.kernel.baseline_fit import AT_ONCE
from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.chain_vectors import FACTORS
from seamtell.features.kernel.folding import TOGETHER
from seamtell.features.kernel.lanes import EIGHT, LANES
from seamtell.features.kernel.networks import LARGEST

__all__ = [
    "CHANNELS",
    "COUNT",
    "GRID",
    "HERE",
    "HIGHEST",
    "LEVEL",
    "LIMIT",
    "NOISE",
    "QUIET_NOISE",
    "SEAMS",
    "SIZE",
    "Scratch",
    "scratch_for",
]

LEVEL, NOISE, QUIET_NOISE, LIMIT, GRID, HIGHEST = range(6)
"""Rows of ``Scratch.per_channel``: level of the baseline, noise of single and of despiked samples, limit,
spacing of the grid that differences are rounded to, and largest size of the baseline."""
PER_CHANNEL = HIGHEST + 1

HERE, SIZE, COUNT = range(3)
"""Columns of ``Scratch.waiting``: number of channels, size of the blocks, and their number."""

SEAMS = 2
"""Seams whose baselines are fitted together."""
CHANNELS = TOGETHER // SEAMS
"""So many channels of each of them at once."""

_SPARE = 64
"""Further numbers behind every row, so that loops may run over to a whole number of lanes."""


class Scratch(NamedTuple):
    """Arrays that every seam overwrites; rows are channels unless said otherwise.

    What waits until the baselines of `SEAMS` seams are fitted comes first, and has a part for each of them.
    `waiting` holds a few numbers, no channels where no seam is; `padded` the amplitudes, the first sample
    of the seam at index `pad`; `present` which channels these are; `blocks` the first samples of the blocks;
    `curves` the baselines at the blocks. Folded are `values`, `start` and `folded`, see
    ``folding``; the first two have a row for every `CHANNELS` channels.
    """

    pad: int
    padded: NDArray[np.float32]
    waiting: NDArray[np.int64]
    present: NDArray[np.int64]
    blocks: NDArray[np.int64]
    curves: NDArray[np.float64]
    per_channel: NDArray[np.float64]
    values: NDArray[np.float64]
    start: NDArray[np.float64]
    least: NDArray[np.float64]
    folded: NDArray[np.float64]
    factors: NDArray[np.float64]
    sets: NDArray[np.uint8]
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
    low: NDArray[np.float64]
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
    n, pad = longest + _SPARE, whole_lines(pad, np.float32)
    wide = n + 2 * pad
    words = longest // WORD + 2
    members = channels * (longest // 2 + 2)
    pairs, rows = -(-channels // CHANNELS), longest // 2 + _SPARE
    return Scratch(
        pad,
        aligned_empty((SEAMS, channels, wide), np.float32),
        np.empty((SEAMS, COUNT + 1), np.int64),
        np.empty((SEAMS, channels), np.int64),
        aligned_empty((SEAMS, n), np.int64),
        aligned_empty((SEAMS, channels, n), np.float64),
        np.empty((SEAMS, PER_CHANNEL, channels), np.float64),
        aligned_empty((pairs, EIGHT * rows), np.float64),
        aligned_empty((pairs, EIGHT * rows), np.float64),
        aligned_empty((pairs, EIGHT), np.float64),
        aligned_empty(EIGHT * rows, np.float64),
        aligned_empty(FACTORS * rows, np.float64),
        aligned_empty((3, rows + 2 * AT_ONCE), np.uint8),
        aligned_empty(wide, np.float32),
        aligned_empty(max(LANES * (LARGEST + 1), wide), np.float32),
        aligned_empty((channels, n), np.float64),
        aligned_empty((channels, n), np.float32),
        aligned_empty((channels, n), np.float64),
        aligned_empty((2, n), np.float64),
        aligned_empty((2, 8 * longest + 6 * _SPARE), np.float64),
        aligned_empty(n, np.float32),
        aligned_empty((2, wide), np.float64),
        aligned_empty(n, np.float64),
        aligned_empty(n, np.float64),
        aligned_empty((2, 2 * n), np.int64),
        aligned_empty((channels, words), np.uint64),
        aligned_empty((channels, words), np.uint64),
        aligned_empty((channels, words), np.uint64),
        aligned_empty(words, np.uint64),
        aligned_empty(words, np.uint64),
        aligned_empty((3, 3 * n), np.float64),
        aligned_empty((6, members), np.int64),
        aligned_empty(channels + 1, np.int64),
        aligned_empty((2, members), np.float64),
    )

"""Fit of the baselines of four channels at once; ``features.baseline`` is the specification and says why.

Values of blocks are folded, and sets of blocks bytes with a bit for each lane, see ``folding``.
Channels that are done are worked out along with the others, with the same result.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _ROUNDS
from seamtell.features.kernel.block_vectors import compare_blocks
from seamtell.features.kernel.chain_vectors import smooth_lanes
from seamtell.features.kernel.compiling import compiled, smaller
from seamtell.features.kernel.folding import ENDS, TOGETHER, both_ends, folded_rows, other_ends
from seamtell.features.kernel.lanes import EIGHT

__all__ = ["AT_ONCE", "fit_baselines"]

Array = NDArray[np.float64]
Sets = NDArray[np.uint8]

AT_ONCE = 64
"""So many rows of sets are gone through at once; behind the last row of an array follow empty ones."""


@compiled
def fit_baselines(
    values: Array,
    start: Array,
    least: Array,
    lanes: int,
    count: int,
    curve: Array,
    factors: Array,
    sets: Sets,
) -> None:
    """Fit channels, each through the blocks that lie close to its curve, until these stay the same.

    Parameters
    ----------
    values, start, curve : ndarray of shape (>= EIGHT * rows,)
        Medians of the blocks, and what the fit starts from; the curve is written.
    least : ndarray of shape (EIGHT,)
        Least tolerance, in both lanes of each channel.
    lanes : int
        Those of the channels that are to be fitted; the others may hold anything.
    count : int
        Number of blocks, odd, at least 3.
    factors : ndarray of shape (>= FACTORS * rows,)
        Scratch.
    sets : uint8 array of shape (3, >= rows + 2 * AT_ONCE)
        Scratch.
    """
    rows = folded_rows(count)
    taken, now, above = sets[0], sets[1], sets[2]
    for k in range(rows, rows + AT_ONCE):
        taken[k], now[k] = 0, 0
    close = compare_blocks(values, start, start, least, rows, now, taken, above[1:])[0]
    none = lanes & ~both_ends(close)
    if none != 0:
        _take_lowest(values, none, rows, taken)
    rounds, going, last = 0, lanes, 0
    while True:
        smooth_lanes(values, taken, curve, factors, count)
        rounds += 1
        if going == 0:
            return
        close, unlike = compare_blocks(values, curve, start, least, rows, taken, now, above[1:])
        proceeding = going & both_ends(close) & both_ends(unlike)
        ending = going & ~proceeding if rounds < _ROUNDS else going
        going, last = going & ~ending, 0
        if ending != 0:
            _replace(taken, ending & ~proceeding, rows, now)
            _leave_out(above, ending, rows, now)
            last = ending & both_ends(_union(now, rows)) & both_ends(_unlike(now, taken, rows))
        if (going | last) == 0:
            return
        _replace(now, going | last, rows, taken)


@compiled
def _take_lowest(values: Array, lanes: int, rows: int, taken: Sets) -> None:
    """Take the blocks with the lowest value of some channels."""
    for channel in range(TOGETHER):
        if lanes >> (ENDS * channel) & 1:
            lowest = np.inf
            for k in range(rows):
                for lane in range(ENDS * channel, ENDS * (channel + 1)):
                    lowest = smaller(lowest, values[EIGHT * k + lane])
            for k in range(rows):
                for lane in range(ENDS * channel, ENDS * (channel + 1)):
                    if values[EIGHT * k + lane] == lowest:
                        taken[k] |= np.uint8(1 << lane)


@compiled
def _union(blocks: Sets, rows: int) -> int:
    """Lanes that are in any row of a set."""
    found = np.uint8(0)
    for begin in range(0, rows, AT_ONCE):
        some = blocks[begin : begin + AT_ONCE]
        for k in range(AT_ONCE):
            found |= some[k]
    return int(found)


@compiled
def _unlike(blocks: Sets, others: Sets, rows: int) -> int:
    """Lanes in which two sets differ."""
    found = np.uint8(0)
    for begin in range(0, rows, AT_ONCE):
        some, same = blocks[begin : begin + AT_ONCE], others[begin : begin + AT_ONCE]
        for k in range(AT_ONCE):
            found |= some[k] ^ same[k]
    return int(found)


@compiled
def _replace(source: Sets, lanes: int, rows: int, target: Sets) -> None:
    """Copy some lanes of a set."""
    copied = np.uint8(lanes)
    for begin in range(0, rows, AT_ONCE):
        some, others = source[begin : begin + AT_ONCE], target[begin : begin + AT_ONCE]
        for k in range(AT_ONCE):
            others[k] = (others[k] & ~copied) | (some[k] & copied)


@compiled
def _leave_out(above: Sets, lanes: int, rows: int, blocks: Sets) -> None:
    """Leave blocks out of some lanes of a set that are above the tolerance, or beside such.

    `above` begins with the row before the first one. Beyond the end of the seam is nothing. Beyond the
    middle block is the one on its other side.
    """
    here = above[1:]
    above[0] = 0
    here[rows] = np.uint8(other_ends(int(here[rows - 2])))
    left = np.uint8(lanes)
    for begin in range(0, rows, AT_ONCE):
        some = blocks[begin : begin + AT_ONCE]
        before, at, after = above[begin:], here[begin:], here[begin + 1 :]
        for k in range(AT_ONCE):
            some[k] &= ~(left & (before[k] | at[k] | after[k]))

"""Block values of four channels folded, so that both ends of each stand side by side.

Row k of a folded array holds, channel by channel, the k-th block from the left and the k-th from the right,
and the last row the middle block twice. A set of blocks has one byte a row, with a bit for each lane.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.lanes import EIGHT

__all__ = ["ENDS", "TOGETHER", "both_ends", "fold", "folded_rows", "other_ends", "unfold"]

Array = NDArray[np.float64]

ENDS = 2
TOGETHER = EIGHT // ENDS
"""Channels of one folded array."""
_LEFT = 0b01010101
"""Lanes of the left ends."""


@compiled
def folded_rows(count: int) -> int:
    """Rows of an odd number of blocks."""
    return count // 2 + 1


@compiled
def fold(values: Array, count: int, channel: int, folded: Array) -> None:
    """Lay out the block values of one channel from both ends towards the middle."""
    lanes = folded[ENDS * channel :]
    for k in range(folded_rows(count)):
        lanes[EIGHT * k] = values[k]
        lanes[EIGHT * k + 1] = values[count - 1 - k]


@compiled
def unfold(folded: Array, count: int, channel: int, values: Array) -> None:
    """The reverse of `fold`."""
    lanes = folded[ENDS * channel :]
    for k in range(folded_rows(count)):
        values[k] = lanes[EIGHT * k]
        values[count - 1 - k] = lanes[EIGHT * k + 1]


@compiled
def both_ends(lanes: int) -> int:
    """Both lanes of every channel that has one of these."""
    return 0b11 * ((lanes | lanes >> 1) & _LEFT)


@compiled
def other_ends(lanes: int) -> int:
    """The lanes beside these: the other end of each channel."""
    return lanes >> 1 & _LEFT | (lanes & _LEFT) << 1

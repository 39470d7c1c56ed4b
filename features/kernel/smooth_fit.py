"""The penalised smooth curves of ``features.baseline``, of four channels at once.

The normal equations have two bands on either side. They are eliminated from both ends of
the seam towards the middle, and four channels side by side: eight chains of dependent
divisions, one in each lane. So block values of four channels are kept folded: row k of a folded array
holds, channel by channel, the k-th block from the left and the k-th from the right, and the last row the
middle block twice. A set of blocks has one byte a row, with a bit for each lane.

References
----------
G. H. Golub, C. F. Van Loan, Matrix Computations, section 4.3 (banded LDL'); the meeting in the
middle is known as twisted factorisation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.lanes import EIGHT

__all__ = ["ENDS", "TOGETHER", "both_ends", "fold", "folded_rows", "unfold"]

Array = NDArray[np.float64]

ENDS = 2
TOGETHER = EIGHT // ENDS
"""Channels of one folded array."""


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
    return 0b11 * ((lanes | lanes >> 1) & 0b01010101)

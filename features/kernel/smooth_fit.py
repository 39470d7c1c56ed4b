"""The penalised smooth curve of ``features.baseline``, of two channels at once.

The normal equations have two bands on either side. They are eliminated from both ends of
the seam towards the middle, and two channels side by side: four chains of dependent
divisions, one in each lane. So block values are kept folded: row k of a folded array holds
the k-th block from the left and the k-th from the right, and the last row the middle block twice.

References
----------
G. H. Golub, C. F. Van Loan, Matrix Computations, section 4.3 (banded LDL'); the meeting in the
middle is known as twisted factorisation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _BENDING, _SLOPING
from seamtell.features.kernel.chain_vectors import CHAINS, eliminate, substitute
from seamtell.features.kernel.compiling import compiled

__all__ = ["fold", "smooth_two", "unfold"]

Array = NDArray[np.float64]
State = tuple[float, float, float, float, float]

_SECOND = 2.0 * _SLOPING + 5.0 * _BENDING
_ONLY_MIDDLE = 2.0 * _SLOPING + 4.0 * _BENDING
_INNER = 2.0 * _SLOPING + 6.0 * _BENDING
"""Diagonal entries of the normal equations, without the weight of the block."""


@compiled
def fold(values: Array, count: int, folded: Array) -> None:
    """Lay out an odd number of block values from both ends towards the middle."""
    for k in range(count // 2 + 1):
        folded[2 * k] = values[k]
        folded[2 * k + 1] = values[count - 1 - k]


@compiled
def unfold(folded: Array, count: int, values: Array) -> None:
    """The reverse of `fold`."""
    for k in range(count // 2 + 1):
        values[k] = folded[2 * k]
        values[count - 1 - k] = folded[2 * k + 1]


@compiled
def _chain(meeting: Array, chain: int) -> State:
    """Where one chain has come to."""
    return (
        meeting[chain],
        meeting[CHAINS + chain],
        meeting[2 * CHAINS + chain],
        meeting[3 * CHAINS + chain],
        meeting[4 * CHAINS + chain],
    )


@compiled
def _middle(left: State, right: State, diagonal: float, y: float) -> tuple[float, float, float]:
    """Solve the last three rows, which both ends have reached."""
    a, b, middle, u, v = left
    e, d, other_middle, w, other_v = right
    middle, v = middle + other_middle - diagonal, v + other_v - y
    near, far = b / a, _BENDING / a
    middle, v = middle - b * near, v - near * u
    beside = d - _BENDING * near
    e, w = e - _BENDING * far, w - far * u
    last = (w - beside / middle * v) / (e - beside / middle * beside)
    centre = (v - beside * last) / middle
    return (u - b * centre - _BENDING * last) / a, centre, last


@compiled
def _meet(values: Array, taken: Array, rows: int, meeting: Array, chain: int, curve: Array) -> None:
    """Write the two innermost rows of one channel's curve."""
    m = 2 * (rows + 1)
    diagonal = (_INNER if rows > 0 else _ONLY_MIDDLE) + taken[m]
    points = _middle(_chain(meeting, chain), _chain(meeting, chain + 1), diagonal, taken[m] * values[m])
    curve[m - 2], curve[m], curve[m + 1], curve[m - 1] = points[0], points[1], points[1], points[2]


@compiled
def smooth_two(
    values: Array,
    other_values: Array,
    taken: Array,
    other_taken: Array,
    count: int,
    curve: Array,
    other_curve: Array,
    factors: Array,
    meeting: Array,
) -> None:
    """Smooth curves through the taken blocks of two channels.

    Parameters
    ----------
    values, other_values, taken, other_taken, curve, other_curve : ndarray of shape (>= count + 1,)
        Folded; blocks that are taken are 1, others 0. The curves are written.
    count : int
        Number of blocks, odd, at least 3.
    factors, meeting : ndarrays of shape (>= FACTORS * count / 2,) and (MEETING,)
        Scratch.
    """
    rows = (count - 3) // 2
    second = _SECOND if rows > 0 else _ONLY_MIDDLE
    eliminate(values, other_values, taken, other_taken, rows, second, factors, meeting)
    _meet(values, taken, rows, meeting, 0, curve)
    _meet(other_values, other_taken, rows, meeting, 2, other_curve)
    substitute(curve, other_curve, rows, factors)

"""The penalised smooth curve of ``features.baseline``, of two channels at once.

The normal equations have two bands on either side. They are eliminated from both ends of
the seam towards the middle, and two channels side by side: four chains of dependent
divisions that hide each other's waiting.

References
----------
G. H. Golub, C. F. Van Loan, Matrix Computations, section 4.3 (banded LDL'); the meeting in the
middle is known as twisted factorisation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _BENDING, _SLOPING
from seamtell.features.kernel.compiling import compiled, contracting

__all__ = ["FACTORS", "smooth_two"]

FACTORS = 12
"""Numbers kept per eliminated row: three a chain."""

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
State = tuple[float, float, float, float, float]

_END = _SLOPING + _BENDING
_END_TAKEN = 1.0 + _SLOPING + _BENDING
_SECOND = 2.0 * _SLOPING + 5.0 * _BENDING
_ONLY_MIDDLE = 2.0 * _SLOPING + 4.0 * _BENDING
_INNER = 2.0 * _SLOPING + 6.0 * _BENDING
_INNER_TAKEN = 1.0 + _INNER
"""Diagonal entries of the normal equations."""
_NEXT = -_SLOPING - 2.0 * _BENDING - 2.0 * _BENDING
_NEXT_AT_END = -_SLOPING - 2.0 * _BENDING


@compiled
def _first(medians: Array, taken: Mask, count: int, at: int, beside: int) -> State:
    """State before the first row is eliminated: pivot, its neighbour, the next pivot, two right sides."""
    return (
        _END_TAKEN if taken[at] else _END,
        _NEXT_AT_END,
        _second(count, taken[beside]),
        medians[at] if taken[at] else 0.0,
        medians[beside] if taken[beside] else 0.0,
    )


@compiled
def _second(count: int, taken: bool) -> float:
    """Diagonal entry of the second row from either end, which has fewer neighbours when it is the middle."""
    entry = _ONLY_MIDDLE if count == 3 else _SECOND
    return entry + 1.0 if taken else entry


@compiled
def _middle_entry(count: int, taken: bool) -> float:
    """Diagonal entry of the middle row."""
    entry = _INNER if count > 3 else _ONLY_MIDDLE
    return entry + 1.0 if taken else entry


@contracting
def _eliminate(
    state: State, diagonal: float, following: float, right: float, factors: Array, at: int
) -> State:
    """Eliminate one row; `diagonal` and `right` are of the row two further, `following` of the next."""
    pivot, beside, next_pivot, y, next_y = state
    inverse = 1.0 / pivot
    near, far = beside * inverse, _BENDING * inverse
    factors[at], factors[at + 1], factors[at + 2] = near, far, y * inverse
    # Products first that do not wait for the division.
    return (
        next_pivot - (beside * beside) * inverse,
        following - (_BENDING * beside) * inverse,
        diagonal - (_BENDING * _BENDING) * inverse,
        next_y - (beside * y) * inverse,
        right - (_BENDING * y) * inverse,
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


@contracting
def smooth_two(
    medians: Array,
    other_medians: Array,
    taken: Mask,
    other_taken: Mask,
    count: int,
    curve: Array,
    other_curve: Array,
    factors: Array,
) -> None:
    """Smooth curves through the taken blocks of two channels.

    Parameters
    ----------
    medians, other_medians, taken, other_taken, curve, other_curve : ndarray of shape (>= count,)
        The curves are written.
    count : int
        Odd, at least 3.
    factors : ndarray of shape (>= FACTORS * count,)
        Scratch.
    """
    rows = (count - 3) // 2
    end = count - 1
    top = end - end
    a = _first(medians, taken, count, top, top + 1)
    b = _first(medians, taken, count, end, end - 1)
    c = _first(other_medians, other_taken, count, top, top + 1)
    d = _first(other_medians, other_taken, count, end, end - 1)
    for i in range(rows):
        j, k = i + 2, end - i - 2
        at = FACTORS * i
        a = _eliminate(
            a, _INNER_TAKEN if taken[j] else _INNER, _NEXT, medians[j] if taken[j] else 0.0, factors, at
        )
        b = _eliminate(
            b, _INNER_TAKEN if taken[k] else _INNER, _NEXT, medians[k] if taken[k] else 0.0, factors, at + 3
        )
        c = _eliminate(
            c,
            _INNER_TAKEN if other_taken[j] else _INNER,
            _NEXT,
            other_medians[j] if other_taken[j] else 0.0,
            factors,
            at + 6,
        )
        d = _eliminate(
            d,
            _INNER_TAKEN if other_taken[k] else _INNER,
            _NEXT,
            other_medians[k] if other_taken[k] else 0.0,
            factors,
            at + 9,
        )
    m = rows + 1
    x0, x1, x2 = _middle(a, b, _middle_entry(count, taken[m]), medians[m] if taken[m] else 0.0)
    y0, y1, y2 = _middle(
        c, d, _middle_entry(count, other_taken[m]), other_medians[m] if other_taken[m] else 0.0
    )
    curve[m - 1], curve[m], curve[m + 1] = x0, x1, x2
    other_curve[m - 1], other_curve[m], other_curve[m + 1] = y0, y1, y2
    p0, p1, q0, q1 = x0, x1, x2, x1
    r0, r1, s0, s1 = y0, y1, y2, y1
    for i in range(rows - 1, -1, -1):
        f = FACTORS * i
        p0, p1 = factors[f + 2] - factors[f] * p0 - factors[f + 1] * p1, p0
        q0, q1 = factors[f + 5] - factors[f + 3] * q0 - factors[f + 4] * q1, q0
        r0, r1 = factors[f + 8] - factors[f + 6] * r0 - factors[f + 7] * r1, r0
        s0, s1 = factors[f + 11] - factors[f + 9] * s0 - factors[f + 10] * s1, s0
        curve[i], curve[end - i] = p0, q0
        other_curve[i], other_curve[end - i] = r0, s0

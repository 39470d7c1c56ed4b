"""The penalised smooth curves of ``features.baseline``, of four channels at once.

The normal equations have two bands on either side. They are eliminated from both ends of the seam towards
the middle, and four channels side by side: eight chains of dependent divisions, one in each lane.

References
----------
G. H. Golub, C. F. Van Loan, Matrix Computations, section 4.3 (banded LDL'); the meeting in the
middle is known as twisted factorisation.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.baseline import _BENDING, _SLOPING
from seamtell.features.kernel.lanes import EIGHT, WIDE, WORD, Builder, Value, lanes_at, shuffled

__all__ = ["FACTORS", "smooth_lanes"]

FACTORS = 3 * EIGHT
"""Numbers kept per eliminated row."""

_END = _SLOPING + _BENDING
_SECOND = 2.0 * _SLOPING + 5.0 * _BENDING
_ONLY_MIDDLE = 2.0 * _SLOPING + 4.0 * _BENDING
_INNER = 2.0 * _SLOPING + 6.0 * _BENDING
"""Diagonal entries of the normal equations, without the weight of the block."""
_NEXT = -_SLOPING - 2.0 * _BENDING - 2.0 * _BENDING
_NEXT_AT_END = -_SLOPING - 2.0 * _BENDING

_FUSED = ("contract",)
"""A product and a sum may be rounded once instead of twice."""

State = Sequence[Value]
"""Where the chains have come to: pivot, its neighbour, the next pivot, and the right sides of both."""


def _constant(value: float) -> Value:
    return ir.Constant(WIDE, [value] * EIGHT)


_VALUES, _TAKEN, _CURVE, _FACTORS = range(4)
"""Arrays of `_Rows`."""


class _Rows:
    """Reads and writes rows of the arrays of `smooth_lanes`, and knows its equations."""

    def __init__(self, context: Any, builder: Builder, kinds: Sequence[Any], arrays: Sequence[Value]) -> None:
        self.context, self.builder, self.kinds, self.arrays = context, builder, kinds, arrays

    def _place(self, which: int, row: Value, lanes: Value = WIDE) -> Value:
        at = self.builder.mul(row, WORD(EIGHT)) if lanes is WIDE else row
        return lanes_at(self.context, self.builder, self.kinds[which], self.arrays[which], at, lanes)

    def load(self, which: int, row: Value) -> Value:
        return self.builder.load(self._place(which, row), align=8)

    def store(self, lanes: Value, which: int, row: Value) -> None:
        self.builder.store(lanes, self._place(which, row), align=8)

    def equation(self, row: Value, diagonal: Value) -> tuple[Value, Value]:
        """Diagonal entry with the weights of the blocks, and right side."""
        code = self.builder
        bits = code.load(self._place(_TAKEN, row, ir.IntType(EIGHT)), align=1)
        taken = code.bitcast(bits, ir.VectorType(ir.IntType(1), EIGHT))
        weight = code.select(taken, _constant(1.0), _constant(0.0))
        return code.fadd(weight, diagonal), code.select(taken, self.load(_VALUES, row), _constant(0.0))

    def minus(self, a: Value, b: Value, c: Value, flags: tuple[str, ...] = ()) -> Value:
        """The first number less the product of the others."""
        return self.builder.fsub(a, self.builder.fmul(b, c, flags=flags), flags=flags)


def _eliminated(rows: _Rows, many: Value, only_middle: Value) -> list[Value]:
    """Eliminate so many rows from both ends, keeping three factors of each."""
    code = rows.builder
    second = code.select(only_middle, _constant(_ONLY_MIDDLE), _constant(_SECOND))
    pivot, y = rows.equation(WORD(0), _constant(_END))
    next_pivot, next_y = rows.equation(WORD(1), second)
    begin = (pivot, _constant(_NEXT_AT_END), next_pivot, y, next_y)
    state = [cgutils.alloca_once_value(code, one) for one in begin]
    bending = _constant(_BENDING)
    with cgutils.for_range(code, many) as loop:
        pivot, beside, next_pivot, y, next_y = (code.load(one) for one in state)
        diagonal, right = rows.equation(code.add(loop.index, WORD(2)), _constant(_INNER))
        inverse = code.fdiv(_constant(1.0), pivot)
        for k, one in enumerate((beside, bending, y)):
            place = code.add(code.mul(loop.index, WORD(3)), WORD(k))
            rows.store(code.fmul(one, inverse), _FACTORS, place)
        # Products first that do not wait for the division.
        after = (
            rows.minus(next_pivot, code.fmul(beside, beside), inverse, _FUSED),
            rows.minus(_constant(_NEXT), code.fmul(bending, beside), inverse, _FUSED),
            rows.minus(diagonal, _constant(_BENDING * _BENDING), inverse, _FUSED),
            rows.minus(next_y, code.fmul(beside, y), inverse, _FUSED),
            rows.minus(right, code.fmul(bending, y), inverse, _FUSED),
        )
        for value, one in zip(after, state, strict=True):
            code.store(value, one)
    return [code.load(one) for one in state]


def _met(rows: _Rows, left: State, diagonal: Value, y: Value) -> tuple[Value, Value]:
    """Solve the last three rows, which both ends have reached: those beside the middle, and the middle.

    The ends of a channel lie side by side; what is worked out holds in the lane of the left one.
    """
    code, bending = rows.builder, _constant(_BENDING)
    a, b, middle, u, v = left
    e, d, other_middle, w, other_v = (
        shuffled(code, one, one, [lane ^ 1 for lane in range(EIGHT)]) for one in left
    )
    middle = code.fsub(code.fadd(middle, other_middle), diagonal)
    v = code.fsub(code.fadd(v, other_v), y)
    near, far = code.fdiv(b, a), code.fdiv(bending, a)
    middle, v = rows.minus(middle, b, near), rows.minus(v, near, u)
    beside = rows.minus(d, bending, near)
    e, w = rows.minus(e, bending, far), rows.minus(w, far, u)
    share = code.fdiv(beside, middle)
    last = code.fdiv(rows.minus(w, share, v), rows.minus(e, share, beside))
    centre = code.fdiv(rows.minus(v, beside, last), middle)
    first = code.fdiv(rows.minus(rows.minus(u, b, centre), bending, last), a)
    left_lanes = [lane & ~1 for lane in range(EIGHT)]
    beside_middle = shuffled(code, first, last, [lane & ~1 | (lane & 1) * EIGHT for lane in range(EIGHT)])
    return beside_middle, shuffled(code, centre, centre, left_lanes)


@intrinsic  # type: ignore[untyped-decorator]
def smooth_lanes(typing_context: Any, values: Any, taken: Any, curve: Any, factors: Any, count: Any) -> Any:
    """Write the smooth curves through the taken blocks of four channels; see ``folding`` for the arrays.

    `count` is the number of blocks, odd, at least 3; `factors` is scratch for `FACTORS` numbers a row.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        rows = _Rows(context, builder, signature.args[:4], arguments[:4])
        many = builder.lshr(builder.sub(arguments[4], WORD(3)), WORD(1))
        only_middle = builder.icmp_signed("==", many, WORD(0))
        state = _eliminated(rows, many, only_middle)
        at_middle = builder.add(many, WORD(1))
        diagonal = builder.select(only_middle, _constant(_ONLY_MIDDLE), _constant(_INNER))
        beside, middle = _met(rows, state, *rows.equation(at_middle, diagonal))
        rows.store(beside, _CURVE, many)
        rows.store(middle, _CURVE, at_middle)
        known, farther = (cgutils.alloca_once_value(builder, lanes) for lanes in (beside, middle))
        with cgutils.for_range(builder, many) as loop:
            row = builder.sub(builder.sub(many, WORD(1)), loop.index)
            near, far, free = (
                rows.load(_FACTORS, builder.add(builder.mul(row, WORD(3)), WORD(k))) for k in range(3)
            )
            last = builder.load(known)
            # The farther one first, which has been known for longer.
            point = rows.minus(free, far, builder.load(farther), _FUSED)
            point = rows.minus(point, near, last, _FUSED)
            rows.store(point, _CURVE, row)
            builder.store(last, farther)
            builder.store(point, known)
        return context.get_dummy_value()

    return types.void(values, taken, curve, factors, count), generate

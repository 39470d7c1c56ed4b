"""The four chains of eliminations of `smooth_fit`, one in each lane: two ends of two channels."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.baseline import _BENDING, _SLOPING
from seamtell.features.kernel.lanes import WORD, all_lanes

__all__ = ["CHAINS", "FACTORS", "MEETING", "eliminate", "substitute"]

CHAINS = 4
FACTORS = 3 * CHAINS
"""Numbers kept per eliminated row."""
MEETING = 5 * CHAINS
"""Numbers that tell where the chains have come to."""

_END = _SLOPING + _BENDING
_INNER = 2.0 * _SLOPING + 6.0 * _BENDING
"""Diagonal entries of the normal equations, without the weight of the block."""
_NEXT = -_SLOPING - 2.0 * _BENDING - 2.0 * _BENDING
_NEXT_AT_END = -_SLOPING - 2.0 * _BENDING

_TWO, _FOUR = ir.VectorType(ir.DoubleType(), 2), ir.VectorType(ir.DoubleType(), CHAINS)
_FUSED = ("contract",)
"""A product and a sum may be rounded once instead of twice."""


class _Rows:
    """Reads and writes rows of folded arrays of two channels as one vector of four chains."""

    def __init__(self, context: Any, builder: Any) -> None:
        self.context, self.builder = context, builder

    def _place(self, kind: Any, array: Any, row: Any) -> Any:
        data = self.context.make_array(kind)(self.context, self.builder, array).data
        at = self.builder.mul(row, WORD(2))
        return self.builder.bitcast(self.builder.gep(data, [at]), _TWO.as_pointer())

    def load(self, kinds: Any, arrays: Any, row: Any) -> Any:
        halves = [
            self.builder.load(self._place(kind, array, row), align=8)
            for kind, array in zip(kinds, arrays, strict=True)
        ]
        lanes = ir.Constant(ir.VectorType(ir.IntType(32), CHAINS), list(range(CHAINS)))
        return self.builder.shuffle_vector(*halves, lanes)

    def store(self, chains: Any, kinds: Any, arrays: Any, row: Any) -> None:
        for k, (kind, array) in enumerate(zip(kinds, arrays, strict=True)):
            lanes = ir.Constant(ir.VectorType(ir.IntType(32), 2), [2 * k, 2 * k + 1])
            half = self.builder.shuffle_vector(chains, chains, lanes)
            self.builder.store(half, self._place(kind, array, row), align=8)


def _four(context: Any, builder: Any, kind: Any, array: Any, row: Any) -> Any:
    """Pointer to the row-th group of four numbers."""
    data = context.make_array(kind)(context, builder, array).data
    place = builder.gep(data, [builder.mul(row, WORD(CHAINS))])
    return builder.bitcast(place, _FOUR.as_pointer())


def _constant(value: float) -> Any:
    return ir.Constant(_FOUR, [value] * CHAINS)


@intrinsic  # type: ignore[untyped-decorator]
def eliminate(
    typing_context: Any,
    values: Any,
    other_values: Any,
    taken: Any,
    other_taken: Any,
    rows: Any,
    second: Any,
    factors: Any,
    meeting: Any,
) -> Any:
    """Eliminate so many rows from both ends of two channels; `second` is the diagonal entry of row 1.

    Two rows at a time, which takes one division for both; the outermost alone where their number is odd.
    Written are three factors a row and chain, and for each chain where it has come to: pivot, its
    neighbour, the next pivot, and the right sides of both.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, rows_of = signature.args, _Rows(context, builder)

        def minus(a: Any, b: Any, c: Any) -> Any:
            return builder.fsub(a, builder.fmul(b, c, flags=_FUSED), flags=_FUSED)

        def weight_and_right(row: Any) -> tuple[Any, Any]:
            weight = rows_of.load(kinds[2:4], arguments[2:4], row)
            return weight, builder.fmul(weight, rows_of.load(kinds[:2], arguments[:2], row))

        def plus(a: Any, number: float, c: Any) -> Any:
            return builder.fadd(a, builder.fmul(_constant(number), c, flags=_FUSED), flags=_FUSED)

        def times(number: float, a: Any) -> Any:
            return builder.fmul(_constant(number), a)

        (weight, y), (next_weight, next_y) = weight_and_right(WORD(0)), weight_and_right(WORD(1))
        begin = (
            builder.fadd(weight, _constant(_END)),
            _constant(_NEXT_AT_END),
            builder.fadd(next_weight, all_lanes(builder, arguments[5], CHAINS)),
            y,
            next_y,
        )
        state = [cgutils.alloca_once_value(builder, one) for one in begin]
        rows_value = arguments[4]
        odd = builder.and_(rows_value, WORD(1))

        def keep(row: Any, numbers: Any) -> None:
            for k, one in enumerate(numbers):
                place = _four(context, builder, kinds[6], arguments[6], builder.add(row, WORD(k)))
                builder.store(one, place, align=8)

        with builder.if_then(builder.icmp_unsigned("!=", odd, WORD(0))):
            pivot, beside, next_pivot, y, next_y = (builder.load(one) for one in state)
            weight, right = weight_and_right(WORD(2))
            inverse = builder.fdiv(_constant(1.0), pivot)
            keep(WORD(0), [builder.fmul(one, inverse) for one in (beside, _constant(_BENDING), y)])
            after = (
                minus(next_pivot, builder.fmul(beside, beside), inverse),
                minus(_constant(_NEXT), times(_BENDING, beside), inverse),
                minus(builder.fadd(weight, _constant(_INNER)), _constant(_BENDING * _BENDING), inverse),
                minus(next_y, builder.fmul(beside, y), inverse),
                minus(right, times(_BENDING, y), inverse),
            )
            for value, one in zip(after, state, strict=True):
                builder.store(value, one)
        with cgutils.for_range_slice(builder, odd, rows_value, WORD(2), WORD) as (row, _):
            p, b, q, y, z = (builder.load(one) for one in state)
            weight, right = weight_and_right(builder.add(row, WORD(2)))
            next_weight, next_right = weight_and_right(builder.add(row, WORD(3)))
            inverse = builder.fdiv(_constant(1.0), minus(builder.fmul(p, q), b, b))
            # Products that do not wait for the division: of the inverse of both rows with what couples
            # them to the next two, and with the right sides.
            over, cross = minus(times(_BENDING, q), _constant(_NEXT), b), times(-_BENDING, b)
            under, far = plus(cross, _NEXT, p), times(_BENDING, p)
            first, last = minus(builder.fmul(q, y), b, z), minus(builder.fmul(p, z), b, y)
            factors = (over, cross, first, under, far, last)
            keep(
                builder.mul(row, WORD(3)),
                [builder.fmul(one, inverse) for one in factors],
            )
            after = (
                minus(
                    builder.fadd(weight, _constant(_INNER)),
                    plus(times(_BENDING, over), _NEXT, under),
                    inverse,
                ),
                minus(_constant(_NEXT), times(_BENDING, under), inverse),
                minus(builder.fadd(next_weight, _constant(_INNER)), times(_BENDING, far), inverse),
                minus(right, plus(times(_BENDING, first), _NEXT, last), inverse),
                minus(next_right, times(_BENDING, last), inverse),
            )
            for value, one in zip(after, state, strict=True):
                builder.store(value, one)
        for k, one in enumerate(state):
            builder.store(
                builder.load(one), _four(context, builder, kinds[7], arguments[7], WORD(k)), align=8
            )
        return context.get_dummy_value()

    arguments = (values, other_values, taken, other_taken, rows, second, factors, meeting)
    return types.void(*arguments), generate


@intrinsic  # type: ignore[untyped-decorator]
def substitute(typing_context: Any, curve: Any, other_curve: Any, rows: Any, factors: Any) -> Any:
    """Work out the eliminated rows of both curves, whose two innermost rows are known."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, rows_of = signature.args, _Rows(context, builder)
        curves, rows_value = (kinds[:2], arguments[:2]), arguments[2]
        odd = builder.and_(rows_value, WORD(1))
        near_one = cgutils.alloca_once_value(builder, rows_of.load(*curves, rows_value))
        far_one = cgutils.alloca_once_value(builder, rows_of.load(*curves, builder.add(rows_value, WORD(1))))

        def kept(row: Any, count: int) -> list[Any]:
            first = builder.mul(row, WORD(3))
            places = (
                _four(context, builder, kinds[3], arguments[3], builder.add(first, WORD(k)))
                for k in range(count)
            )
            return [builder.load(place, align=8) for place in places]

        def point(free: Any, near: Any, far: Any) -> Any:
            # The farther one first, which has been known for longer.
            rest = builder.fmul(far, builder.load(far_one), flags=_FUSED)
            rest = builder.fsub(free, rest, flags=_FUSED)
            return builder.fsub(rest, builder.fmul(near, builder.load(near_one), flags=_FUSED), flags=_FUSED)

        with cgutils.for_range(builder, builder.lshr(rows_value, WORD(1))) as loop:
            row = builder.sub(builder.sub(rows_value, WORD(2)), builder.shl(loop.index, WORD(1)))
            over, cross, first, under, far, last = kept(row, 6)
            outer, inner = point(first, over, cross), point(last, under, far)
            rows_of.store(outer, *curves, row)
            rows_of.store(inner, *curves, builder.add(row, WORD(1)))
            builder.store(inner, far_one)
            builder.store(outer, near_one)
        with builder.if_then(builder.icmp_unsigned("!=", odd, WORD(0))):
            near, far, free = kept(WORD(0), 3)
            rows_of.store(point(free, near, far), *curves, WORD(0))
        return context.get_dummy_value()

    return types.void(curve, other_curve, rows, factors), generate

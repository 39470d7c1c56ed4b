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

        (weight, y), (next_weight, next_y) = weight_and_right(WORD(0)), weight_and_right(WORD(1))
        begin = (
            builder.fadd(weight, _constant(_END)),
            _constant(_NEXT_AT_END),
            builder.fadd(next_weight, all_lanes(builder, arguments[5], CHAINS)),
            y,
            next_y,
        )
        state = [cgutils.alloca_once_value(builder, one) for one in begin]
        bending = _constant(_BENDING)
        with cgutils.for_range(builder, arguments[4]) as loop:
            pivot, beside, next_pivot, y, next_y = (builder.load(one) for one in state)
            weight, right = weight_and_right(builder.add(loop.index, WORD(2)))
            inverse = builder.fdiv(_constant(1.0), pivot)
            for k, one in enumerate((beside, bending, y)):
                row = builder.add(builder.mul(loop.index, WORD(3)), WORD(k))
                place = _four(context, builder, kinds[6], arguments[6], row)
                builder.store(builder.fmul(one, inverse), place, align=8)
            # Products first that do not wait for the division.
            after = (
                minus(next_pivot, builder.fmul(beside, beside), inverse),
                minus(_constant(_NEXT), builder.fmul(bending, beside), inverse),
                minus(builder.fadd(weight, _constant(_INNER)), _constant(_BENDING * _BENDING), inverse),
                minus(next_y, builder.fmul(beside, y), inverse),
                minus(right, builder.fmul(bending, y), inverse),
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
        near_one = cgutils.alloca_once_value(builder, rows_of.load(*curves, rows_value))
        far_one = cgutils.alloca_once_value(builder, rows_of.load(*curves, builder.add(rows_value, WORD(1))))
        with cgutils.for_range(builder, rows_value) as loop:
            row = builder.sub(builder.sub(rows_value, WORD(1)), loop.index)
            near, far, free = (
                builder.load(
                    _four(
                        context,
                        builder,
                        kinds[3],
                        arguments[3],
                        builder.add(builder.mul(row, WORD(3)), WORD(k)),
                    ),
                    align=8,
                )
                for k in range(3)
            )
            one = builder.load(near_one)
            # The farther one first, which has been known for longer.
            point = builder.fsub(free, builder.fmul(far, builder.load(far_one), flags=_FUSED), flags=_FUSED)
            point = builder.fsub(point, builder.fmul(near, one, flags=_FUSED), flags=_FUSED)
            rows_of.store(point, *curves, row)
            builder.store(one, far_one)
            builder.store(point, near_one)
        return context.get_dummy_value()

    return types.void(curve, other_curve, rows, factors), generate

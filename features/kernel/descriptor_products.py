"""Sums of products of two channels, padded by zeros so that no lane needs a mask."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.descriptor_lanes import (
    NONE,
    Builder,
    Stretch,
    Value,
    across,
    inside,
    minus,
    plus,
    sums_over,
    times,
    upper,
)
from seamtell.features.kernel.vectors import EIGHT, WIDE, WORD, all_lanes, lanes_at

__all__ = ["copy_eights", "eight_products", "energies"]


@intrinsic  # type: ignore[untyped-decorator]
def copy_eights(typing_context: Any, values: Any, first: Any, count: Any, out: Any, offset: Any) -> Any:
    """Copy `count` values to `out` at an offset, and add zeros up to the next multiple of eight."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, target, target_first = arguments
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(EIGHT), WORD) as (at, _):
            to = builder.add(target_first, at)
            place = lanes_at(context, builder, signature.args[3], target, to, WIDE)
            builder.store(stretch.inside(at, n), place, align=8)
        return context.get_dummy_value()

    return types.void(values, first, count, out, offset), generate


@intrinsic  # type: ignore[untyped-decorator]
def energies(typing_context: Any, s: Any, c: Any, first: Any, count: Any, gain: Any) -> Any:
    """Sums of s², c², s c, (c − gain s)², and of the squared steps of s and of c to the next value.

    What follows the stretch, up to eight values, must be zero.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        one, other, begin, n, factor = arguments
        s_lanes, c_lanes = (
            Stretch(context, builder, kind, array, begin)
            for kind, array in zip(signature.args[:2], (one, other), strict=True)
        )
        gains = all_lanes(builder, factor, EIGHT)

        def terms(at: Any) -> list[Any]:
            after = builder.add(at, WORD(1))
            a, b = s_lanes.eight(at), c_lanes.eight(at)
            rest = minus(builder, b, times(builder, a, gains))
            steps = [minus(builder, s_lanes.eight(after), a), minus(builder, c_lanes.eight(after), b)]
            squares = [times(builder, x, x) for x in (a, b, rest, *steps)]
            return [*squares[:2], times(builder, a, b), *squares[2:]]

        return context.make_tuple(builder, signature.return_type, sums_over(builder, n, 6, terms))

    return types.UniTuple(types.float64, 6)(s, c, first, count, gain), generate


@intrinsic  # type: ignore[untyped-decorator]
def eight_products(
    typing_context: Any,
    a: Any,
    a_first: Any,
    b: Any,
    b_first: Any,
    count: Any,
    step: Any,
    begin: Any,
    end: Any,
    out: Any,
    offset: Any,
) -> Any:
    """Write the sums of `count` products of a with b, and with b moved by 1, 2, … 7 steps, to `out`.

    Places of `out` are counted from `offset`; those before `begin` and from `end` on get −∞. The
    greatest is returned. Of the further products, up to the next multiple of eight, all must be zero.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        one, one_first, other, other_first, n, move, low, high, target, target_first = arguments
        fixed = Stretch(context, builder, signature.args[0], one, one_first)
        moved = [
            Stretch(
                context,
                builder,
                signature.args[2],
                other,
                builder.add(other_first, builder.mul(move, WORD(k))),
            )
            for k in range(EIGHT)
        ]
        rooms = [cgutils.alloca_once_value(builder, NONE) for _ in range(EIGHT)]
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(EIGHT), WORD) as (at, _):
            here = fixed.eight(at)
            for stretch, room in zip(moved, rooms, strict=True):
                product = times(builder, here, stretch.eight(at))
                builder.store(plus(builder, builder.load(room), product), room)
        sums = _sums_of_rows(builder, [builder.load(room) for room in rooms])
        outside = builder.or_(inside(builder, WORD(0), low), builder.not_(inside(builder, WORD(0), high)))
        sums = builder.select(outside, ir.Constant(WIDE, [float("-inf")] * EIGHT), sums)
        place = lanes_at(context, builder, signature.args[8], target, target_first, WIDE)
        builder.store(sums, place, align=8)
        return across(builder, upper, sums)

    return types.float64(a, a_first, b, b_first, count, step, begin, end, out, offset), generate


def _sums_of_rows(builder: Builder, rows: list[Value]) -> Value:
    """Lane k holds the sum over the lanes of row k; two rows become one in each of three steps."""
    for step in (1, 2, 4):
        low = [lane if not lane & step else EIGHT + lane - step for lane in range(EIGHT)]
        high = [lane + step if not lane & step else EIGHT + lane for lane in range(EIGHT)]
        masks = [ir.Constant(ir.VectorType(ir.IntType(32), EIGHT), lanes) for lanes in (low, high)]
        rows = [
            plus(builder, *(builder.shuffle_vector(a, b, mask) for mask in masks))
            for a, b in zip(rows[::2], rows[1::2], strict=True)
        ]
    return rows[0]

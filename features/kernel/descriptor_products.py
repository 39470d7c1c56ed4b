"""Sums of products of two channels, padded by zeros so that no lane needs a mask."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.descriptor_lanes import NONE, Stretch, minus, plus, sums_over, times
from seamtell.features.kernel.lanes import (
    EIGHT,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    all_lanes,
    exchanged,
    further,
    inside,
    lanes_at,
    shuffled,
    upper,
)

__all__ = ["copy_eights", "distant_products", "energies", "near_products"]


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
def distant_products(
    typing_context: Any, a: Any, a_first: Any, b: Any, b_first: Any, count: Any, out: Any, offset: Any
) -> Any:
    """Write the sums of `count` products of a with b, and with b moved by 8, 16, … 56, to `out` at an offset.

    The greatest is returned. Of the further products, up to the next multiple of eight, all must be zero.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (one, one_first, other, other_first, n, target, first) = signature.args, arguments
        fixed = Stretch(context, builder, kinds[0], one, one_first)
        moved = Stretch(context, builder, kinds[2], other, other_first)

        def lanes(at: Value) -> list[Value]:
            return [moved.eight(builder.add(at, WORD(EIGHT * k))) for k in range(EIGHT)]

        sums = _sums_of_products(builder, n, fixed, lanes)
        builder.store(sums, lanes_at(context, builder, kinds[5], target, first, WIDE), align=8)
        return across(builder, upper, sums)

    return types.float64(a, a_first, b, b_first, count, out, offset), generate


@intrinsic  # type: ignore[untyped-decorator]
def near_products(
    typing_context: Any,
    a: Any,
    a_first: Any,
    b: Any,
    b_first: Any,
    count: Any,
    begin: Any,
    end: Any,
    out: Any,
    offset: Any,
) -> Any:
    """Like `distant_products`, b moved by 1, 2, … 7 instead.

    Places of `out` are counted from `offset`; those before `begin` and from `end` on get −∞.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (one, one_first, other, other_first, n, low, high, target, first) = signature.args, arguments
        fixed = Stretch(context, builder, kinds[0], one, one_first)
        moved = Stretch(context, builder, kinds[2], other, other_first)
        held = cgutils.alloca_once_value(builder, moved.eight(WORD(0)))

        def lanes(at: Value) -> list[Value]:
            here, after = builder.load(held), moved.eight(builder.add(at, WORD(EIGHT)))
            builder.store(after, held)
            return [further(builder, here, after, k) for k in range(EIGHT)]

        sums = _sums_of_products(builder, n, fixed, lanes)
        outside = builder.or_(inside(builder, WORD(0), low), builder.not_(inside(builder, WORD(0), high)))
        sums = builder.select(outside, ir.Constant(WIDE, [float("-inf")] * EIGHT), sums)
        builder.store(sums, lanes_at(context, builder, kinds[7], target, first, WIDE), align=8)
        return across(builder, upper, sums)

    return types.float64(a, a_first, b, b_first, count, begin, end, out, offset), generate


def _sums_of_products(
    builder: Builder, count: Value, fixed: Stretch, moved: Callable[[Value], list[Value]]
) -> Value:
    """Lane k holds the sum of products with the k-th of the lanes that `moved` gives from a sample on."""
    rooms = [cgutils.alloca_once_value(builder, NONE) for _ in range(EIGHT)]
    with cgutils.for_range_slice(builder, WORD(0), count, WORD(EIGHT), WORD) as (at, _):
        here = fixed.eight(at)
        for lanes, room in zip(moved(at), rooms, strict=True):
            builder.store(plus(builder, builder.load(room), times(builder, here, lanes)), room)
    return _sums_of_rows(builder, [builder.load(room) for room in rooms])


def _sums_of_rows(builder: Builder, rows: list[Value]) -> Value:
    """Lane k holds the sum over the lanes of row k; two rows become one in each of three steps."""
    for step in (1, 2, 4):
        rows = [
            plus(builder, *(shuffled(builder, a, b, lanes) for lanes in exchanged(step)))
            for a, b in zip(rows[::2], rows[1::2], strict=True)
        ]
    return rows[0]

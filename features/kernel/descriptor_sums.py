"""Sums and extremes over a stretch of one channel."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.descriptor_lanes import NONE, Stretch, minus, numbered, plus, sums_over, times
from seamtell.features.kernel.lanes import (
    EIGHT,
    LANES,
    WIDE,
    WORD,
    across,
    all_lanes,
    inside,
    lanes_at,
    lower,
    upper,
)

__all__ = [
    "central_sums",
    "extremes",
    "parabola_rest",
    "parabola_sums",
    "positive_sums",
    "side_sums",
    "sum_of",
]


@intrinsic  # type: ignore[untyped-decorator]
def sum_of(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Sum of `count` values from `first` on."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, n = arguments
        stretch = Stretch(context, builder, signature.args[0], array, at)
        return sums_over(builder, n, 1, lambda k: [stretch.inside(k, n)])[0]

    return types.float64(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def extremes(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Least and greatest of `count` values from `first` on; infinite, the wrong way round, of none."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments
        kind = ir.VectorType(context.get_data_type(signature.args[0].dtype), LANES)
        ends = [ir.Constant(kind, [end] * LANES) for end in (float("inf"), float("-inf"))]
        rooms = [cgutils.alloca_once_value(builder, end) for end in ends]
        joins = (lower, upper)
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(LANES), WORD) as (at, _):
            place = lanes_at(context, builder, signature.args[0], array, builder.add(begin, at), kind)
            lanes, here = builder.load(place, align=4), inside(builder, at, n, LANES)
            for room, join, end in zip(rooms, joins, ends, strict=True):
                value = builder.select(here, lanes, end)
                builder.store(join(builder, builder.load(room), value), room)
        found = [across(builder, join, builder.load(room)) for join, room in zip(joins, rooms, strict=True)]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(values.dtype, 2)(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def positive_sums(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Greatest of `count` values, sum of the positive ones, and their first moment over numbers from 0."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        lowest = ir.Constant(WIDE, [float("-inf")] * EIGHT)
        room = cgutils.alloca_once_value(builder, lowest)

        def terms(at: Any) -> list[Any]:
            value = builder.select(inside(builder, at, n), stretch.eight(at), lowest)
            builder.store(upper(builder, builder.load(room), value), room)
            weight = upper(builder, value, NONE)
            return [weight, times(builder, weight, numbered(builder, at))]

        sums = sums_over(builder, n, 2, terms)
        found = [across(builder, upper, builder.load(room)), *sums]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(types.float64, 3)(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def central_sums(typing_context: Any, values: Any, first: Any, count: Any, centre: Any) -> Any:
    """Sums of the positive values times second, third and fourth power of the distance to a centre."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, middle = arguments
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        middles = all_lanes(builder, middle, EIGHT)

        def terms(at: Any) -> list[Any]:
            away = minus(builder, numbered(builder, at), middles)
            square = times(builder, away, away)
            second = times(builder, stretch.positive(at, n), square)
            return [second, times(builder, second, away), times(builder, second, square)]

        return context.make_tuple(builder, signature.return_type, sums_over(builder, n, 3, terms))

    return types.UniTuple(types.float64, 3)(values, first, count, centre), generate


@intrinsic  # type: ignore[untyped-decorator]
def side_sums(typing_context: Any, values: Any, first: Any, count: Any, offset: Any) -> Any:
    """Sums of the positive values left and right of sample −`offset`, near which one goes to both in part."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, shift = arguments
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        shifts, whole = all_lanes(builder, shift, EIGHT), ir.Constant(WIDE, [1.0] * EIGHT)

        def terms(at: Any) -> list[Any]:
            weight = stretch.positive(at, n)
            place = plus(builder, numbered(builder, at), shifts)
            share = lower(builder, upper(builder, place, NONE), whole)
            return [
                times(builder, weight, minus(builder, whole, share)),
                times(builder, weight, share),
            ]

        return context.make_tuple(builder, signature.return_type, sums_over(builder, n, 2, terms))

    return types.UniTuple(types.float64, 2)(values, first, count, offset), generate


@intrinsic  # type: ignore[untyped-decorator]
def parabola_sums(typing_context: Any, values: Any, first: Any, count: Any, middle: Any, square: Any) -> Any:
    """Sums of values, of values times x, and of values times x² − `square`; x is counted from `middle`."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments[:3]
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        middles, squares = (all_lanes(builder, one, EIGHT) for one in arguments[3:])

        def terms(at: Any) -> list[Any]:
            value = stretch.inside(at, n)
            line = minus(builder, numbered(builder, at), middles)
            bow = minus(builder, times(builder, line, line), squares)
            return [value, times(builder, value, line), times(builder, value, bow)]

        return context.make_tuple(builder, signature.return_type, sums_over(builder, n, 3, terms))

    return types.UniTuple(types.float64, 3)(values, first, count, middle, square), generate


@intrinsic  # type: ignore[untyped-decorator]
def parabola_rest(
    typing_context: Any, values: Any, first: Any, count: Any, middle: Any, level: Any, slope: Any, bow: Any
) -> Any:
    """Sum of squares of what ``level + slope x + bow x²`` leaves; x is counted from `middle`."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments[:3]
        stretch = Stretch(context, builder, signature.args[0], array, begin)
        middles, levels, slopes, bows = (all_lanes(builder, one, EIGHT) for one in arguments[3:])

        def terms(at: Any) -> list[Any]:
            line = minus(builder, numbered(builder, at), middles)
            curve = plus(builder, slopes, times(builder, line, bows))
            fitted = plus(builder, levels, times(builder, line, curve))
            rest = minus(builder, stretch.eight(at), fitted)
            rest = builder.select(inside(builder, at, n), rest, NONE)
            return [times(builder, rest, rest)]

        return sums_over(builder, n, 1, terms)[0]

    return types.float64(values, first, count, middle, level, slope, bow), generate

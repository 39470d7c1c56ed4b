"""Counting and gathering by comparison, many lanes at once: what `order_statistics` is made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.lanes import (
    EIGHT,
    LANES,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    all_lanes,
    lanes_at,
    mask_of_64,
    sizes,
    upper,
)

__all__ = [
    "count_keys",
    "count_keys_twice",
    "count_smaller",
    "gather_between",
    "mask_small_steps",
    "values_of_ranks",
]

_ABREAST = 3
"""So many groups of `EIGHT` lanes are compared with one value at a time."""
_USUAL = 3
"""So many places are copied from 64 without asking whether they are there."""


@intrinsic  # type: ignore[untyped-decorator]
def count_smaller(typing_context: Any, values: Any, n: Any, counts: Any) -> Any:
    """How many of the first n float64 values are smaller than each of them, written to an int64 array.

    Reads and writes up to `_ABREAST` times `EIGHT` further.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, n_value, out) = signature.args, arguments
        data = context.make_array(kinds[0])(context, builder, array).data
        words = ir.VectorType(WORD, EIGHT)
        none, ones = (ir.Constant(words, [number] * EIGHT) for number in (0, 1))
        totals = [cgutils.alloca_once(builder, words) for _ in range(_ABREAST)]
        with cgutils.for_range_slice(builder, WORD(0), n_value, WORD(_ABREAST * EIGHT), WORD) as (at, _):
            begins = [builder.add(at, WORD(k * EIGHT)) for k in range(_ABREAST)]
            groups = [
                builder.load(lanes_at(context, builder, kinds[0], array, begin, WIDE), align=8)
                for begin in begins
            ]
            for total in totals:
                builder.store(none, total)
            with cgutils.for_range(builder, n_value) as loop:
                one = all_lanes(builder, builder.load(builder.gep(data, [loop.index])), EIGHT)
                for lanes, total in zip(groups, totals, strict=True):
                    before = builder.load(total)
                    more = builder.add(before, ones)
                    below = builder.fcmp_ordered("<", one, lanes)
                    builder.store(builder.select(below, more, before), total)
            for begin, total in zip(begins, totals, strict=True):
                place = lanes_at(context, builder, kinds[2], out, begin, words)
                builder.store(builder.load(total), place, align=8)
        return context.get_dummy_value()

    return types.void(values, n, counts), generate


@intrinsic  # type: ignore[untyped-decorator]
def count_keys(typing_context: Any, keys: Any, n: Any, threshold: Any) -> Any:
    """How many of the first n float32 keys are at most the threshold; n is a multiple of 4 `LANES`."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, n_value, limit = arguments
        return _counts(context, builder, signature.args[0], array, n_value, [limit])[0]

    return types.int64(keys, n, threshold), generate


@intrinsic  # type: ignore[untyped-decorator]
def count_keys_twice(typing_context: Any, keys: Any, n: Any, threshold: Any, other: Any) -> Any:
    """`count_keys` of two thresholds at once."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, n_value, *limits = arguments
        counts = _counts(context, builder, signature.args[0], array, n_value, limits)
        return context.make_tuple(builder, signature.return_type, counts)

    return types.UniTuple(types.int64, 2)(keys, n, threshold, other), generate


def _counts(
    context: Any, builder: Builder, kind: Any, array: Value, n: Value, limits: Sequence[Value]
) -> list[Value]:
    lanes, word = 2 * LANES, ir.IntType(2 * LANES)
    row = ir.VectorType(ir.FloatType(), lanes)
    limits = [all_lanes(builder, limit, lanes) for limit in limits]
    totals = [[cgutils.alloca_once_value(builder, WORD(0)) for _ in range(2)] for _ in limits]
    with cgutils.for_range_slice(builder, WORD(0), n, WORD(2 * lanes), WORD) as (at, _):
        for k in range(2):
            place = lanes_at(context, builder, kind, array, builder.add(at, WORD(k * lanes)), row)
            here = builder.load(place, align=4)
            for limit, of_limit in zip(limits, totals, strict=True):
                inside = builder.fcmp_ordered("<=", here, limit)
                count = builder.zext(builder.ctpop(builder.bitcast(inside, word)), WORD)
                builder.store(builder.add(builder.load(of_limit[k]), count), of_limit[k])
    return [builder.add(*(builder.load(total) for total in of_limit)) for of_limit in totals]


@intrinsic  # type: ignore[untyped-decorator]
def mask_small_steps(typing_context: Any, samples: Any, offset: Any, limit: Any) -> Any:
    """Which of the 64 steps from float32 samples at `offset` to the next are smaller than the limit.

    The first one in the lowest bit; rounded to float32.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit_value = arguments
        limits = all_lanes(builder, limit_value)

        def small(first: Value) -> Value:
            begin = builder.add(at, first)
            here, after = (
                builder.load(lanes_at(context, builder, signature.args[0], array, place), align=4)
                for place in (begin, builder.add(begin, WORD(1)))
            )
            return builder.fcmp_ordered("<", sizes(builder, builder.fsub(after, here)), limits)

        return mask_of_64(builder, small)

    return types.uint64(samples, offset, limit), generate


@intrinsic  # type: ignore[untyped-decorator]
def gather_between(
    typing_context: Any, keys: Any, offset: Any, low: Any, high: Any, places: Any, m: Any
) -> Any:
    """Append places from `offset` on of float32 keys above `low` and up to `high` to ``places[:m]``; new m.

    64 keys are asked. A few places are copied without asking, because hardly ever there are
    more, and a wrong guess of the processor costs more than a copy.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        key_array, at, low_value, high_value, out_array, m_value = arguments
        lows, highs = all_lanes(builder, low_value), all_lanes(builder, high_value)

        def between(first: Value) -> Value:
            begin = builder.add(at, first)
            lanes = builder.load(lanes_at(context, builder, signature.args[0], key_array, begin), align=4)
            return builder.and_(
                builder.fcmp_ordered(">", lanes, lows), builder.fcmp_ordered("<=", lanes, highs)
            )

        mask = mask_of_64(builder, between)
        target = context.make_array(signature.args[4])(context, builder, out_array).data
        target = builder.gep(target, [m_value])
        rest = cgutils.alloca_once(builder, WORD)
        builder.store(mask, rest)

        def copy_next(k: Any) -> None:
            left = builder.load(rest)
            found = builder.and_(builder.cttz(left, ir.IntType(1)(0)), WORD(63))
            builder.store(builder.add(at, found), builder.gep(target, [k]))
            builder.store(builder.and_(left, builder.sub(left, WORD(1))), rest)

        for k in range(_USUAL):
            copy_next(WORD(k))
        count = builder.ctpop(mask)
        with (
            builder.if_then(builder.icmp_unsigned(">", count, WORD(_USUAL)), likely=False),
            cgutils.for_range(builder, builder.sub(count, WORD(_USUAL))) as loop,
        ):
            copy_next(builder.add(loop.index, WORD(_USUAL)))
        return builder.add(m_value, count)

    return types.int64(keys, offset, low, high, places, m), generate


@intrinsic  # type: ignore[untyped-decorator]
def values_of_ranks(typing_context: Any, values: Any, m: Any, a: Any, b: Any, c: Any) -> Any:
    """Values of three ranks among the first m float64 values, by counting for each how many are smaller.

    The value of a rank is the largest that no more values than the rank are smaller than. `LANES`
    further values must be infinite; so is that of a rank beyond the last.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, length, *ranks = arguments
        data = context.make_array(signature.args[0])(context, builder, array).data
        words = ir.VectorType(WORD, EIGHT)
        lowest = ir.Constant(WIDE, [float("-inf")] * EIGHT)
        tops = [cgutils.alloca_once_value(builder, lowest) for _ in ranks]
        limits = [all_lanes(builder, rank, EIGHT) for rank in ranks]
        counts = [cgutils.alloca_once(builder, words) for _ in range(LANES // EIGHT)]
        end = builder.add(length, WORD(1))
        with cgutils.for_range_slice(builder, WORD(0), end, WORD(LANES), WORD) as (at, _):
            groups = []
            for k, count in enumerate(counts):
                place = builder.gep(data, [builder.add(at, WORD(k * EIGHT))])
                groups.append(builder.load(builder.bitcast(place, WIDE.as_pointer()), align=8))
                builder.store(ir.Constant(words, [0] * EIGHT), count)
            with cgutils.for_range(builder, length) as loop:
                one = all_lanes(builder, builder.load(builder.gep(data, [loop.index])), EIGHT)
                for lanes, count in zip(groups, counts, strict=True):
                    smaller = builder.sext(builder.fcmp_ordered("<", one, lanes), words)
                    builder.store(builder.sub(builder.load(count), smaller), count)
            for lanes, count in zip(groups, counts, strict=True):
                for limit, top in zip(limits, tops, strict=True):
                    kept = builder.select(
                        builder.icmp_signed("<=", builder.load(count), limit), lanes, lowest
                    )
                    builder.store(upper(builder, kept, builder.load(top)), top)
        found = [across(builder, upper, builder.load(top)) for top in tops]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(types.float64, 3)(values, m, a, b, c), generate

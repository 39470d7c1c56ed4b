"""Sums, extremes and masks over a stretch of one channel, lane by lane.

A window holds a hundred samples, so a loop that the compiler vectorises by itself spends most of
its time on the samples left over. Here the last lanes are masked instead, and nothing is left over:
every function may read up to 63 samples beyond the stretch, whatever they hold.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.vectors import EIGHT, LANES, NEVER_NAN, WIDE, WORD, all_lanes, lanes_at

__all__ = [
    "central_sums",
    "copy_eights",
    "eight_products",
    "energies",
    "extremes",
    "mask_below",
    "mask_of_tops",
    "parabola_rest",
    "parabola_sums",
    "positive_sums",
    "side_sums",
    "sum_of",
]

_DOUBLE = ir.DoubleType()
_FUSED = ("contract", "nsz")
_NUMBERS = ir.Constant(WIDE, [float(lane) for lane in range(EIGHT)])
_NONE = ir.Constant(WIDE, [0.0] * EIGHT)

Builder = Any
Value = Any


def _times(builder: Builder, a: Value, b: Value) -> Value:
    return builder.fmul(a, b, flags=_FUSED)


def _plus(builder: Builder, a: Value, b: Value) -> Value:
    return builder.fadd(a, b, flags=_FUSED)


def _minus(builder: Builder, a: Value, b: Value) -> Value:
    return builder.fsub(a, b, flags=_FUSED)


def _smaller(builder: Builder, a: Value, b: Value) -> Value:
    return builder.select(builder.fcmp_ordered("<", a, b, flags=NEVER_NAN), a, b, flags=NEVER_NAN)


def _larger(builder: Builder, a: Value, b: Value) -> Value:
    return builder.select(builder.fcmp_ordered(">", a, b, flags=NEVER_NAN), a, b, flags=NEVER_NAN)


def _across(builder: Builder, join: Callable[[Builder, Value, Value], Value], lanes: Value) -> Value:
    """All lanes joined to one number, by halves."""
    count = lanes.type.count
    while count > 1:
        count //= 2
        halves = [
            builder.shuffle_vector(
                lanes,
                lanes,
                ir.Constant(ir.VectorType(ir.IntType(32), count), list(range(begin, begin + count))),
            )
            for begin in (0, count)
        ]
        lanes = join(builder, *halves)
    return builder.extract_element(lanes, ir.IntType(32)(0))


def _inside(builder: Builder, at: Value, count: Value, lanes: int = EIGHT) -> Value:
    """Which lanes from `at` on lie before `count`."""
    numbers = ir.Constant(ir.VectorType(WORD, lanes), list(range(lanes)))
    return builder.icmp_signed("<", numbers, all_lanes(builder, builder.sub(count, at), lanes))


def _numbered(builder: Builder, at: Value) -> Value:
    """Number of the sample in each lane from `at` on, as float64."""
    return builder.fadd(all_lanes(builder, builder.sitofp(at, _DOUBLE), EIGHT), _NUMBERS)


def _sums(
    builder: Builder, count: Value, how_many: int, terms: Callable[[Value], list[Value]]
) -> list[Value]:
    """Sums over samples 0, 1, … of several terms, given for the eight from a sample on."""
    rooms = [cgutils.alloca_once_value(builder, _NONE) for _ in range(how_many)]
    with cgutils.for_range_slice(builder, WORD(0), count, WORD(EIGHT), WORD) as (at, _):
        for room, term in zip(rooms, terms(at), strict=True):
            builder.store(_plus(builder, builder.load(room), term), room)
    return [_across(builder, _plus, builder.load(room)) for room in rooms]


class _Stretch:
    """Eight samples at a time of an array, from a sample on."""

    def __init__(self, context: Any, builder: Builder, kind: Any, array: Value, first: Value) -> None:
        self._load = lambda at: builder.load(
            lanes_at(context, builder, kind, array, builder.add(first, at), WIDE), align=8
        )
        self._builder = builder

    def eight(self, at: Value) -> Value:
        """Whatever is there."""
        return self._load(at)

    def inside(self, at: Value, count: Value) -> Value:
        """Zero in the lanes from `count` on."""
        return self._builder.select(_inside(self._builder, at, count), self._load(at), _NONE)

    def positive(self, at: Value, count: Value) -> Value:
        """Zero in place of what is negative too."""
        return _larger(self._builder, self.inside(at, count), _NONE)


@intrinsic  # type: ignore[untyped-decorator]
def sum_of(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Sum of `count` values from `first` on."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, n = arguments
        stretch = _Stretch(context, builder, signature.args[0], array, at)
        return _sums(builder, n, 1, lambda k: [stretch.inside(k, n)])[0]

    return types.float64(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def extremes(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Least and greatest of `count` values from `first` on; infinite, the wrong way round, of none."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments
        kind = ir.VectorType(context.get_data_type(signature.args[0].dtype), LANES)
        ends = [ir.Constant(kind, [end] * LANES) for end in (float("inf"), float("-inf"))]
        rooms = [cgutils.alloca_once_value(builder, end) for end in ends]
        joins = (_smaller, _larger)
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(LANES), WORD) as (at, _):
            place = lanes_at(context, builder, signature.args[0], array, builder.add(begin, at), kind)
            lanes, inside = builder.load(place, align=4), _inside(builder, at, n, LANES)
            for room, join, end in zip(rooms, joins, ends, strict=True):
                value = builder.select(inside, lanes, end)
                builder.store(join(builder, builder.load(room), value), room)
        found = [_across(builder, join, builder.load(room)) for join, room in zip(joins, rooms, strict=True)]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(values.dtype, 2)(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def positive_sums(typing_context: Any, values: Any, first: Any, count: Any) -> Any:
    """Greatest of `count` values, sum of the positive ones, and their first moment over numbers from 0."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        lowest = ir.Constant(WIDE, [float("-inf")] * EIGHT)
        room = cgutils.alloca_once_value(builder, lowest)

        def terms(at: Any) -> list[Any]:
            value = builder.select(_inside(builder, at, n), stretch.eight(at), lowest)
            builder.store(_larger(builder, builder.load(room), value), room)
            weight = _larger(builder, value, _NONE)
            return [weight, _times(builder, weight, _numbered(builder, at))]

        sums = _sums(builder, n, 2, terms)
        found = [_across(builder, _larger, builder.load(room)), *sums]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(types.float64, 3)(values, first, count), generate


@intrinsic  # type: ignore[untyped-decorator]
def central_sums(typing_context: Any, values: Any, first: Any, count: Any, centre: Any) -> Any:
    """Sums of the positive values times second, third and fourth power of the distance to a centre."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, middle = arguments
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        middles = all_lanes(builder, middle, EIGHT)

        def terms(at: Any) -> list[Any]:
            away = _minus(builder, _numbered(builder, at), middles)
            square = _times(builder, away, away)
            second = _times(builder, stretch.positive(at, n), square)
            return [second, _times(builder, second, away), _times(builder, second, square)]

        return context.make_tuple(builder, signature.return_type, _sums(builder, n, 3, terms))

    return types.UniTuple(types.float64, 3)(values, first, count, centre), generate


@intrinsic  # type: ignore[untyped-decorator]
def side_sums(typing_context: Any, values: Any, first: Any, count: Any, offset: Any) -> Any:
    """Sums of the positive values left and right of sample −`offset`, near which one goes to both in part."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, shift = arguments
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        shifts, whole = all_lanes(builder, shift, EIGHT), ir.Constant(WIDE, [1.0] * EIGHT)

        def terms(at: Any) -> list[Any]:
            weight = stretch.positive(at, n)
            place = _plus(builder, _numbered(builder, at), shifts)
            share = _smaller(builder, _larger(builder, place, _NONE), whole)
            return [
                _times(builder, weight, _minus(builder, whole, share)),
                _times(builder, weight, share),
            ]

        return context.make_tuple(builder, signature.return_type, _sums(builder, n, 2, terms))

    return types.UniTuple(types.float64, 2)(values, first, count, offset), generate


@intrinsic  # type: ignore[untyped-decorator]
def parabola_sums(typing_context: Any, values: Any, first: Any, count: Any, middle: Any, square: Any) -> Any:
    """Sums of values, of values times x, and of values times x² − `square`; x is counted from `middle`."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments[:3]
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        middles, squares = (all_lanes(builder, one, EIGHT) for one in arguments[3:])

        def terms(at: Any) -> list[Any]:
            value = stretch.inside(at, n)
            line = _minus(builder, _numbered(builder, at), middles)
            bow = _minus(builder, _times(builder, line, line), squares)
            return [value, _times(builder, value, line), _times(builder, value, bow)]

        return context.make_tuple(builder, signature.return_type, _sums(builder, n, 3, terms))

    return types.UniTuple(types.float64, 3)(values, first, count, middle, square), generate


@intrinsic  # type: ignore[untyped-decorator]
def parabola_rest(
    typing_context: Any, values: Any, first: Any, count: Any, middle: Any, level: Any, slope: Any, bow: Any
) -> Any:
    """Sum of squares of what ``level + slope x + bow x²`` leaves; x is counted from `middle`."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n = arguments[:3]
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        middles, levels, slopes, bows = (all_lanes(builder, one, EIGHT) for one in arguments[3:])

        def terms(at: Any) -> list[Any]:
            line = _minus(builder, _numbered(builder, at), middles)
            curve = _plus(builder, slopes, _times(builder, line, bows))
            fitted = _plus(builder, levels, _times(builder, line, curve))
            rest = _minus(builder, stretch.eight(at), fitted)
            rest = builder.select(_inside(builder, at, n), rest, _NONE)
            return [_times(builder, rest, rest)]

        return _sums(builder, n, 1, terms)[0]

    return types.float64(values, first, count, middle, level, slope, bow), generate


@intrinsic  # type: ignore[untyped-decorator]
def energies(typing_context: Any, s: Any, c: Any, first: Any, count: Any, gain: Any) -> Any:
    """Sums of s², c², s c, (c − gain s)², and of the squared steps of s and of c to the next value.

    What follows the stretch, up to eight values, must be zero.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        one, other, begin, n, factor = arguments
        s_lanes, c_lanes = (
            _Stretch(context, builder, kind, array, begin)
            for kind, array in zip(signature.args[:2], (one, other), strict=True)
        )
        gains = all_lanes(builder, factor, EIGHT)

        def terms(at: Any) -> list[Any]:
            after = builder.add(at, WORD(1))
            a, b = s_lanes.eight(at), c_lanes.eight(at)
            rest = _minus(builder, b, _times(builder, a, gains))
            steps = [_minus(builder, s_lanes.eight(after), a), _minus(builder, c_lanes.eight(after), b)]
            squares = [_times(builder, x, x) for x in (a, b, rest, *steps)]
            return [*squares[:2], _times(builder, a, b), *squares[2:]]

        return context.make_tuple(builder, signature.return_type, _sums(builder, n, 6, terms))

    return types.UniTuple(types.float64, 6)(s, c, first, count, gain), generate


@intrinsic  # type: ignore[untyped-decorator]
def copy_eights(typing_context: Any, values: Any, first: Any, count: Any, out: Any, offset: Any) -> Any:
    """Copy `count` values to `out` at an offset, and add zeros up to the next multiple of eight."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, begin, n, target, target_first = arguments
        stretch = _Stretch(context, builder, signature.args[0], array, begin)
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(EIGHT), WORD) as (at, _):
            to = builder.add(target_first, at)
            place = lanes_at(context, builder, signature.args[3], target, to, WIDE)
            builder.store(stretch.inside(at, n), place, align=8)
        return context.get_dummy_value()

    return types.void(values, first, count, out, offset), generate


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
        fixed = _Stretch(context, builder, signature.args[0], one, one_first)
        moved = [
            _Stretch(
                context,
                builder,
                signature.args[2],
                other,
                builder.add(other_first, builder.mul(move, WORD(k))),
            )
            for k in range(EIGHT)
        ]
        rooms = [cgutils.alloca_once_value(builder, _NONE) for _ in range(EIGHT)]
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(EIGHT), WORD) as (at, _):
            here = fixed.eight(at)
            for stretch, room in zip(moved, rooms, strict=True):
                product = _times(builder, here, stretch.eight(at))
                builder.store(_plus(builder, builder.load(room), product), room)
        sums = _sums_of_rows(builder, [builder.load(room) for room in rooms])
        outside = builder.or_(_inside(builder, WORD(0), low), builder.not_(_inside(builder, WORD(0), high)))
        sums = builder.select(outside, ir.Constant(WIDE, [float("-inf")] * EIGHT), sums)
        place = lanes_at(context, builder, signature.args[8], target, target_first, WIDE)
        builder.store(sums, place, align=8)
        return _across(builder, _larger, sums)

    return types.float64(a, a_first, b, b_first, count, step, begin, end, out, offset), generate


def _sums_of_rows(builder: Builder, rows: list[Value]) -> Value:
    """Lane k holds the sum over the lanes of row k; two rows become one in each of three steps."""
    for step in (1, 2, 4):
        low = [lane if not lane & step else EIGHT + lane - step for lane in range(EIGHT)]
        high = [lane + step if not lane & step else EIGHT + lane for lane in range(EIGHT)]
        masks = [ir.Constant(ir.VectorType(ir.IntType(32), EIGHT), lanes) for lanes in (low, high)]
        rows = [
            _plus(builder, *(builder.shuffle_vector(a, b, mask) for mask in masks))
            for a, b in zip(rows[::2], rows[1::2], strict=True)
        ]
    return rows[0]


def _mask(builder: Builder, of_lanes: Callable[[Value], Value]) -> Value:
    """64 bits, the first sample in the lowest, from those of `LANES` samples at an offset."""
    word = WORD(0)
    for first in range(0, 64, LANES):
        bits = builder.bitcast(of_lanes(WORD(first)), ir.IntType(LANES))
        word = builder.or_(word, builder.shl(builder.zext(bits, WORD), WORD(first)))
    return word


@intrinsic  # type: ignore[untyped-decorator]
def mask_below(typing_context: Any, values: Any, offset: Any, level: Any) -> Any:
    """Which of the 64 values at `offset` are below the level, the first one in the lowest bit."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit = arguments
        kind = ir.VectorType(_DOUBLE, LANES)
        limits = all_lanes(builder, limit)

        def below(first: Any) -> Any:
            place = lanes_at(context, builder, signature.args[0], array, builder.add(at, first), kind)
            return builder.fcmp_ordered("<", builder.load(place, align=8), limits)

        return _mask(builder, below)

    return types.uint64(values, offset, level), generate


@intrinsic  # type: ignore[untyped-decorator]
def mask_of_tops(typing_context: Any, values: Any, offset: Any, least: Any) -> Any:
    """Which of the 64 values at `offset` end a top: not below `least` and the one before, above the next.

    Reads the value before `offset` too.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit = arguments
        kind = ir.VectorType(_DOUBLE, LANES)
        limits = all_lanes(builder, limit)

        def tops(first: Any) -> Any:
            before, here, after = (
                builder.load(
                    lanes_at(
                        context,
                        builder,
                        signature.args[0],
                        array,
                        builder.add(at, builder.add(first, WORD(k))),
                        kind,
                    ),
                    align=8,
                )
                for k in (-1, 0, 1)
            )
            high = builder.fcmp_ordered(">=", here, limits)
            risen = builder.fcmp_ordered(">=", here, before)
            return builder.and_(builder.and_(high, risen), builder.fcmp_ordered(">", here, after))

        return _mask(builder, tops)

    return types.uint64(values, offset, least), generate

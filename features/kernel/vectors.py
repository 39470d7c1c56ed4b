"""Sixteen lanes at once, spelled out where the compiler does not find them by itself."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.aligned import LINE_BYTES
from seamtell.features.kernel.lanes import (
    EIGHT,
    LANES,
    NARROW,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    all_lanes,
    cases,
    lanes_at,
    lower,
    mask_of_64,
    shuffled,
    turned,
    upper,
)
from seamtell.features.kernel.networks import median_network

__all__ = [
    "LARGEST_IN_REGISTERS",
    "compare_exchange",
    "copy_from",
    "count_ones",
    "fetch_ahead",
    "leading_zeros",
    "mask_above",
    "medians_of_eight",
    "medians_of_pairs",
    "split_pairs",
    "trailing_zeros",
    "write_line",
]

LARGEST_IN_REGISTERS = 20
"""Networks up to this size are spelled out; each costs time to compile."""


@intrinsic  # type: ignore[untyped-decorator]
def compare_exchange(typing_context: Any, lanes: Any, i: Any, j: Any) -> Any:
    """Put the smaller of two rows of lanes at offset i of a float32 array, and the larger at j; no NaN."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kind = signature.args[0]
        first = lanes_at(context, builder, kind, arguments[0], arguments[1])
        second = lanes_at(context, builder, kind, arguments[0], arguments[2])
        a, b = builder.load(first, align=4), builder.load(second, align=4)
        builder.store(lower(builder, a, b), first, align=4)
        builder.store(upper(builder, a, b), second, align=4)
        return context.get_dummy_value()

    return types.void(lanes, i, j), generate


def _greater(builder: Builder, a: Value, b: Value) -> Value:
    """The greater of two numbers without sign, lane by lane."""
    return builder.select(builder.icmp_unsigned(">", a, b), a, b)


@intrinsic  # type: ignore[untyped-decorator]
def copy_from(typing_context: Any, address: Any, n: Any, out: Any, offset: Any) -> Any:
    """Copy n float32 values from an address to `offset` of an array; their largest size is returned.

    That is infinite or NaN when one of them is: without the sign, the bits of floats order as
    integers do, those of NaN last.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        source, length, out_array, first = arguments
        data = context.make_array(signature.args[2])(context, builder, out_array).data
        target = builder.gep(data, [first])
        source = builder.inttoptr(source, ir.FloatType().as_pointer())
        bits = ir.IntType(32)
        whole = builder.and_(length, WORD(-LANES))
        totals = []
        for lanes, begin, end in ((LANES, WORD(0), whole), (1, whole, length)):
            kind, words = ir.VectorType(ir.FloatType(), lanes), ir.VectorType(bits, lanes)
            total = cgutils.alloca_once_value(builder, ir.Constant(words, [0] * lanes))
            totals.append(total)
            size = ir.Constant(words, [0x7FFFFFFF] * lanes)
            with cgutils.for_range_slice(builder, begin, end, WORD(lanes), WORD) as (at, _):
                place = builder.bitcast(builder.gep(source, [at]), kind.as_pointer())
                values = builder.load(place, align=4)
                place = builder.bitcast(builder.gep(target, [at]), kind.as_pointer())
                builder.store(values, place, align=4)
                here = builder.and_(builder.bitcast(values, words), size)
                builder.store(_greater(builder, here, builder.load(total)), total)
        greatest = _greater(builder, *(across(builder, _greater, builder.load(total)) for total in totals))
        return builder.bitcast(greatest, ir.FloatType())

    return types.float32(address, n, out, offset), generate


@intrinsic  # type: ignore[untyped-decorator]
def fetch_ahead(typing_context: Any, address: Any, n: Any) -> Any:
    """Ask for n float32 values at an address that will be read soon; whatever is there, nothing fails."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        source = builder.inttoptr(arguments[0], ir.IntType(8).as_pointer())
        number = ir.IntType(32)
        kind = ir.FunctionType(ir.VoidType(), [source.type, number, number, number])
        fetch = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0")
        length = builder.mul(arguments[1], WORD(4))
        with cgutils.for_range_slice(builder, WORD(0), length, WORD(LINE_BYTES), WORD) as (at, _):
            builder.call(fetch, [builder.gep(source, [at]), number(0), number(2), number(1)])
        return context.get_dummy_value()

    return types.void(address, n), generate


@intrinsic  # type: ignore[untyped-decorator]
def mask_above(typing_context: Any, values: Any, offset: Any, threshold: Any) -> Any:
    """Which of the 64 values at `offset` are above the threshold, the first one in the lowest bit."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit = arguments
        kind = ir.VectorType(context.get_data_type(signature.args[0].dtype), LANES)
        limits = all_lanes(builder, limit)

        def above(first: Value) -> Value:
            place = lanes_at(context, builder, signature.args[0], array, builder.add(at, first), kind)
            return builder.fcmp_ordered(">", builder.load(place, align=4), limits)

        return mask_of_64(builder, above)

    return types.uint64(values, offset, threshold), generate


@intrinsic  # type: ignore[untyped-decorator]
def trailing_zeros(typing_context: Any, word: Any) -> Any:
    """Place of the lowest bit that is set; 64 when there is none."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.cttz(arguments[0], ir.IntType(1)(0))

    return types.int64(word), generate


@intrinsic  # type: ignore[untyped-decorator]
def leading_zeros(typing_context: Any, word: Any) -> Any:
    """Bits above the highest one that is set; 64 when there is none."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.ctlz(arguments[0], ir.IntType(1)(0))

    return types.int64(word), generate


@intrinsic  # type: ignore[untyped-decorator]
def count_ones(typing_context: Any, word: Any) -> Any:
    """How many bits of a word are set."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.ctpop(arguments[0])

    return types.int64(word), generate


@intrinsic  # type: ignore[untyped-decorator]
def write_line(typing_context: Any, out: Any, rounded: Any, offset: Any, run: Any, y: Any, slope: Any) -> Any:
    """Write ``slope * (run + lane) + y`` to `EIGHT` lanes of a float64 array, and rounded to float32."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, narrow_array, at, run_value, y_value, slope_value = arguments
        lanes = ir.Constant(WIDE, [float(lane) for lane in range(EIGHT)])
        runs = builder.fadd(all_lanes(builder, run_value, EIGHT), lanes)
        slopes, begin = all_lanes(builder, slope_value, EIGHT), all_lanes(builder, y_value, EIGHT)
        line = builder.fadd(builder.fmul(slopes, runs), begin)
        builder.store(line, lanes_at(context, builder, signature.args[0], array, at, WIDE), align=8)
        place = lanes_at(context, builder, signature.args[1], narrow_array, at, NARROW)
        builder.store(builder.fptrunc(line, NARROW), place, align=4)
        return context.get_dummy_value()

    return types.void(out, rounded, offset, run, y, slope), generate


@intrinsic  # type: ignore[untyped-decorator]
def medians_of_eight(
    typing_context: Any, amplitudes: Any, starts: Any, k: Any, size: Any, medians: Any
) -> Any:
    """Write the medians of the `EIGHT` blocks from the k-th on, of up to `LARGEST_IN_REGISTERS` samples.

    The blocks are turned so that each lane holds one, and sorted in registers by a network of
    their size. Reads up to `EIGHT` samples beyond a block.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, start_array, first, size_value, out = arguments
        data = context.make_array(signature.args[0])(context, builder, array).data
        start_data = context.make_array(signature.args[1])(context, builder, start_array).data
        blocks = [
            builder.gep(data, [builder.load(builder.gep(start_data, [builder.add(first, WORD(lane))]))])
            for lane in range(EIGHT)
        ]
        place = lanes_at(context, builder, signature.args[4], out, first, WIDE)
        for length in cases(builder, "medians", size_value, range(1, LARGEST_IN_REGISTERS + 1)):
            rows: list[Any] = []
            for column in range(0, length, EIGHT):
                rows += _turned(builder, blocks, column)
            low, high = _middle_rows(builder, rows[:length])
            total = builder.fadd(builder.fpext(low, WIDE), builder.fpext(high, WIDE))
            half = builder.fmul(total, ir.Constant(WIDE, [0.5] * EIGHT))
            builder.store(half, place, align=8)
        return context.get_dummy_value()

    return types.void(amplitudes, starts, k, size, medians), generate


@intrinsic  # type: ignore[untyped-decorator]
def split_pairs(typing_context: Any, samples: Any, n: Any, even: Any, odd: Any) -> Any:
    """Write every second of the first n samples to one array, and the others to another.

    Reads up to `LANES` further samples, and writes up to `EIGHT`.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, length, *targets) = signature.args, arguments
        with cgutils.for_range_slice(builder, WORD(0), length, WORD(LANES), WORD) as (at, _):
            lanes = builder.load(lanes_at(context, builder, kinds[0], array, at), align=4)
            half = builder.lshr(at, WORD(1))
            for first, (kind, target) in enumerate(zip(kinds[2:], targets, strict=True)):
                place = lanes_at(context, builder, kind, target, half, NARROW)
                builder.store(shuffled(builder, lanes, lanes, range(first, LANES, 2)), place, align=4)
        return context.get_dummy_value()

    return types.void(samples, n, even, odd), generate


@intrinsic  # type: ignore[untyped-decorator]
def medians_of_pairs(typing_context: Any, even: Any, odd: Any, offset: Any, size: Any, out: Any) -> Any:
    """Write at ``2 offset`` the medians of `LANES` neighbouring windows of odd `size`, from `split_pairs`.

    Two neighbours share all samples but one each. The two middle ranks of the shared ones are
    found for both; the median is whichever of these and its own sample lies between the others.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (even_array, odd_array, at, size_value, out_array) = signature.args, arguments
        place = lanes_at(context, builder, kinds[4], out_array, builder.shl(at, WORD(1)))

        def row(sample: int) -> Any:
            kind, array = (kinds[0], even_array) if sample % 2 == 0 else (kinds[1], odd_array)
            begin = builder.add(at, WORD(sample // 2))
            return builder.load(lanes_at(context, builder, kind, array, begin, NARROW), align=4)

        for length in cases(builder, "running", size_value, range(3, LARGEST_IN_REGISTERS + 1, 2)):
            low, high = _middle_rows(builder, [row(k) for k in range(1, length)])
            first, second = (upper(builder, low, lower(builder, high, row(own))) for own in (0, length))
            turns = [lane // 2 + EIGHT * (lane % 2) for lane in range(LANES)]
            mask = ir.Constant(ir.VectorType(ir.IntType(32), LANES), turns)
            builder.store(builder.shuffle_vector(first, second, mask), place, align=4)
        return context.get_dummy_value()

    return types.void(even, odd, offset, size, out), generate


def _turned(builder: Any, blocks: list[Any], column: int) -> list[Any]:
    """Row j holds sample ``column + j`` of every block."""
    places = [builder.bitcast(builder.gep(block, [WORD(column)]), NARROW.as_pointer()) for block in blocks]
    return turned(builder, [builder.load(place, align=4) for place in places])


def _middle_rows(builder: Any, rows: list[Any]) -> tuple[Any, Any]:
    """Lane by lane the two middle ranks, one and the same for an odd number of rows."""
    size = len(rows)
    for i, j in median_network(size):
        rows[i], rows[j] = lower(builder, rows[i], rows[j]), upper(builder, rows[i], rows[j])
    return rows[(size - 1) // 2], rows[size // 2]

"""The short moving average in registers: every sample is read and widened once, and lanes are moved."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.lanes import (
    EIGHT,
    NARROW,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    all_lanes,
    cases,
    further,
    lanes_at,
    lower,
)
from seamtell.features.rounding import ROUNDED_AT

__all__ = ["MOST_TAPS", "short_averages_over"]

MOST_TAPS = 13
"""Whole samples of the longest average that is spelled out."""


def _sum_of(builder: Builder, here: Value, after: Value, how_many: int) -> Value:
    """Sum of each lane and those behind it; from outside in, so that a mirrored trace gives the same."""
    rows = [further(builder, here, after, k) for k in range(how_many)]
    while len(rows) > 1:
        pairs = [builder.fadd(rows[k], rows[-1 - k]) for k in range(len(rows) // 2)]
        rows = pairs + rows[len(pairs) : len(rows) - len(pairs)]
    return rows[0]


@intrinsic  # type: ignore[untyped-decorator]
def short_averages_over(
    typing_context: Any,
    values: Any,
    n: Any,
    taps: Any,
    edge: Any,
    whole: Any,
    baseline: Any,
    grid: Any,
    over: Any,
    keys: Any,
) -> Any:
    """Write by how much n averages are over a baseline, on a grid, and the same rounded to float32 to `keys`.

    Averages over an odd number of `taps` whole samples, up to `MOST_TAPS`, and parts of two more.
    The i-th reads the float32 values from i to ``i + taps + 1``; in float64. The sum of the samples on
    one side of the middle one serves two averages, one on either side. Reads up to 32 further
    values, which may be anything, and writes up to seven. About the sum of what is below is returned:
    of whole groups of `EIGHT`.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds = signature.args
        array, length, taps_value, edge_value, whole_value, level, grid_value, target, key_target = arguments
        edges, wholes, grids = (
            all_lanes(builder, one, EIGHT) for one in (edge_value, whole_value, grid_value)
        )
        per_grid = all_lanes(builder, builder.fdiv(ir.DoubleType()(1.0), grid_value), EIGHT)
        rounded_at, zero = ir.Constant(WIDE, [ROUNDED_AT] * EIGHT), ir.Constant(NARROW, [0.0] * EIGHT)
        below, before = (cgutils.alloca_once_value(builder, zero) for _ in range(2))

        def widened(at: Value) -> Value:
            lanes = builder.load(lanes_at(context, builder, kinds[0], array, at, NARROW), align=4)
            return builder.fpext(lanes, WIDE)

        def lower_and_write(average: Value, at: Value) -> None:
            place = lanes_at(context, builder, kinds[5], level, at, WIDE)
            away = builder.fsub(average, builder.load(place, align=8))
            steps = builder.fadd(builder.fmul(away, per_grid), rounded_at)
            here = builder.fmul(_nearest_whole(builder, steps), grids)
            builder.store(here, lanes_at(context, builder, kinds[7], target, at, WIDE), align=8)
            key = builder.fptrunc(here, NARROW)
            builder.store(key, lanes_at(context, builder, kinds[8], key_target, at, NARROW), align=4)
            total = builder.load(below)
            builder.store(total, before)
            builder.store(builder.fadd(total, lower(builder, key, zero)), below)

        for count in cases(builder, "average", taps_value, range(1, MOST_TAPS + 1, 2)):
            side = count // 2
            begin = [widened(WORD(0)), widened(WORD(EIGHT))]
            if side:
                begin.append(_sum_of(builder, *begin, side))
            state = [cgutils.alloca_once_value(builder, one) for one in begin]
            with cgutils.for_range_slice(builder, WORD(0), length, WORD(EIGHT), WORD) as (at, _):
                here, after, *sums = (builder.load(one) for one in state)
                beyond = widened(builder.add(at, WORD(2 * EIGHT)))
                inside = further(builder, here, after, side + 1)
                now = [after, beyond]
                if side:
                    next_sums = _sum_of(builder, after, beyond, side)
                    left, right = (further(builder, sums[0], next_sums, k) for k in (1, side + 2))
                    inside = builder.fadd(builder.fadd(left, right), inside)
                    now.append(next_sums)
                last = count + 1
                groups = (here, after) if last <= EIGHT else (after, beyond)
                ends = builder.fadd(here, further(builder, *groups, last if last <= EIGHT else last - EIGHT))
                average = builder.fadd(builder.fmul(edges, ends), builder.fmul(wholes, inside))
                lower_and_write(average, at)
                for value, one in zip(now, state, strict=True):
                    builder.store(value, one)
        no_rest = builder.icmp_unsigned("==", builder.and_(length, WORD(EIGHT - 1)), WORD(0))
        total = builder.select(no_rest, builder.load(below), builder.load(before))
        total = across(builder, lambda code, a, b: code.fadd(a, b), total)
        return builder.fpext(total, ir.DoubleType())

    return types.float64(values, n, taps, edge, whole, baseline, grid, over, keys), generate


def _nearest_whole(builder: Builder, lanes: Value) -> Value:
    kind = ir.FunctionType(WIDE, [WIDE])
    rint = cgutils.get_or_insert_function(builder.module, kind, f"llvm.rint.v{EIGHT}f64")
    return builder.call(rint, [lanes])

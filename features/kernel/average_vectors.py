"""The short moving average in registers: every sample is read and widened once, and lanes are moved."""

from __future__ import annotations

from typing import Any

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
    all_lanes,
    cases,
    further,
    lanes_at,
)

__all__ = ["MOST_TAPS", "short_averages"]

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
def short_averages(
    typing_context: Any, values: Any, n: Any, taps: Any, edge: Any, whole: Any, out: Any
) -> Any:
    """Write n averages over an odd number of `taps` whole samples, up to `MOST_TAPS`, and parts of two more.

    The i-th reads the float32 values from i to ``i + taps + 1``; in float64. The sum of the samples on
    one side of the middle one serves two averages, one on either side. Reads up to 32 further
    values, which may be anything, and writes up to seven.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, length, taps_value, edge_value, whole_value, target) = signature.args, arguments
        edges, wholes = (all_lanes(builder, one, EIGHT) for one in (edge_value, whole_value))

        def widened(at: Any) -> Any:
            lanes = builder.load(lanes_at(context, builder, kinds[0], array, at, NARROW), align=4)
            return builder.fpext(lanes, WIDE)

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
                builder.store(average, lanes_at(context, builder, kinds[5], target, at, WIDE), align=8)
                for value, one in zip(now, state, strict=True):
                    builder.store(value, one)
        return context.get_dummy_value()

    return types.void(values, n, taps, edge, whole, out), generate

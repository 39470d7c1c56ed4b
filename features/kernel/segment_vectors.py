"""Tails of a run told from the rest, many lanes at once: what `segment_kernel` is made of."""

from __future__ import annotations

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
    Value,
    all_lanes,
    lanes_at,
    mask_of_64,
    sizes,
    upper,
)

__all__ = ["larger_of_two", "mask_tails"]

_UNSURE = 1e-13
"""Differences by no more than this share may be those of rounding."""


@intrinsic  # type: ignore[untyped-decorator]
def larger_of_two(typing_context: Any, values: Any, offset: Any, n: Any, out: Any) -> Any:
    """Write the larger of each of the first n values and the one `offset` further on.

    Reads and writes up to seven further ones, which may be NaN.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, distance, length, target) = signature.args, arguments
        with cgutils.for_range_slice(builder, WORD(0), length, WORD(EIGHT), WORD) as (at, _):
            here, there = (
                builder.load(lanes_at(context, builder, kinds[0], array, place, WIDE), align=8)
                for place in (at, builder.add(at, distance))
            )
            larger = upper(builder, here, there)
            builder.store(larger, lanes_at(context, builder, kinds[3], target, at, WIDE), align=8)
        return context.get_dummy_value()

    return types.void(values, offset, n, out), generate


@intrinsic  # type: ignore[untyped-decorator]
def mask_tails(
    typing_context: Any, values: Any, offset: Any, highest: Any, highest_offset: Any, share: Any
) -> Any:
    """Which of 64 values are below a share of what is highest near each, and of which rounding may decide.

    The first one is in the lowest bit. Of the latter the bit in the former means nothing.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, at, near, near_at, part) = signature.args, arguments
        kind = ir.VectorType(ir.DoubleType(), LANES)
        shares, slack = all_lanes(builder, part), ir.Constant(kind, [_UNSURE] * LANES)
        none = ir.Constant(kind, [0.0] * LANES)

        def lanes(first: Value) -> tuple[Value, Value]:
            value, top = (
                builder.load(lanes_at(context, builder, of, some, builder.add(begin, first), kind), align=8)
                for of, some, begin in ((kinds[0], array, at), (kinds[2], near, near_at))
            )
            return builder.fsub(value, builder.fmul(shares, top)), top

        def below(first: Value) -> Value:
            return builder.fcmp_ordered("<", lanes(first)[0], none)

        def close(first: Value) -> Value:
            difference, top = lanes(first)
            allowed = builder.fmul(slack, sizes(builder, top))
            return builder.fcmp_ordered("<=", sizes(builder, difference), allowed)

        words = [mask_of_64(builder, of_lanes) for of_lanes in (below, close)]
        return context.make_tuple(builder, signature.return_type, words)

    return types.UniTuple(types.uint64, 2)(values, offset, highest, highest_offset, share), generate

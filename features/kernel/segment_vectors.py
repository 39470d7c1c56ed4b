"""Tails of a run told from the rest, many lanes at once: what `segment_kernel` is made of."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.vectors import EIGHT, LANES, NEVER_NAN, WIDE, WORD, all_lanes, lanes_at

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
            above = builder.fcmp_ordered(">", here, there, flags=NEVER_NAN)
            larger = builder.select(above, here, there, flags=NEVER_NAN)
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
        shares = all_lanes(builder, part)
        unsure = ir.Constant(kind, [_UNSURE] * LANES)
        size = cgutils.get_or_insert_function(
            builder.module, ir.FunctionType(kind, [kind]), f"llvm.fabs.v{LANES}f64"
        )
        words = [WORD(0), WORD(0)]
        for first in range(0, 64, LANES):
            value, top = (
                builder.load(
                    lanes_at(context, builder, of, some, builder.add(begin, WORD(first)), kind), align=8
                )
                for of, some, begin in ((kinds[0], array, at), (kinds[2], near, near_at))
            )
            difference = builder.fsub(value, builder.fmul(shares, top))
            below = builder.fcmp_ordered("<", difference, ir.Constant(kind, [0.0] * LANES))
            slack = builder.fmul(unsure, builder.call(size, [top]))
            close = builder.fcmp_ordered("<=", builder.call(size, [difference]), slack)
            for k, bits in enumerate((below, close)):
                part_word = builder.zext(builder.bitcast(bits, ir.IntType(LANES)), WORD)
                words[k] = builder.or_(words[k], builder.shl(part_word, WORD(first)))
        return context.make_tuple(builder, signature.return_type, words)

    return types.UniTuple(types.uint64, 2)(values, offset, highest, highest_offset, share), generate

"""Which of 64 samples are below a level, or end a top."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from seamtell.features.kernel.descriptor_lanes import DOUBLE
from seamtell.features.kernel.lanes import LANES, WORD, all_lanes, lanes_at, mask_of_64

__all__ = ["mask_below", "mask_of_tops"]


@intrinsic  # type: ignore[untyped-decorator]
def mask_below(typing_context: Any, values: Any, offset: Any, level: Any) -> Any:
    """Which of the 64 values at `offset` are below the level, the first one in the lowest bit."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit = arguments
        kind = ir.VectorType(DOUBLE, LANES)
        limits = all_lanes(builder, limit)

        def below(first: Any) -> Any:
            place = lanes_at(context, builder, signature.args[0], array, builder.add(at, first), kind)
            return builder.fcmp_ordered("<", builder.load(place, align=8), limits)

        return mask_of_64(builder, below)

    return types.uint64(values, offset, level), generate


@intrinsic  # type: ignore[untyped-decorator]
def mask_of_tops(typing_context: Any, values: Any, offset: Any, least: Any) -> Any:
    """Which of the 64 values at `offset` end a top: not below `least` and the one before, above the next.

    Reads the value before `offset` too.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array, at, limit = arguments
        kind = ir.VectorType(DOUBLE, LANES)
        limits = all_lanes(builder, limit)

        def tops(first: Any) -> Any:
            offsets = [builder.add(at, builder.add(first, WORD(k))) for k in (-1, 0, 1)]
            places = [lanes_at(context, builder, signature.args[0], array, k, kind) for k in offsets]
            before, here, after = (builder.load(place, align=8) for place in places)
            high = builder.fcmp_ordered(">=", here, limits)
            risen = builder.fcmp_ordered(">=", here, before)
            return builder.and_(builder.and_(high, risen), builder.fcmp_ordered(">", here, after))

        return mask_of_64(builder, tops)

    return types.uint64(values, offset, least), generate

"""Which of 64 samples are below a level, or end a top."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from seamtell.features.kernel.descriptor_lanes import DOUBLE, Builder, Value
from seamtell.features.kernel.vectors import LANES, WORD, all_lanes, lanes_at

__all__ = ["mask_below", "mask_of_tops"]


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
        kind = ir.VectorType(DOUBLE, LANES)
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
        kind = ir.VectorType(DOUBLE, LANES)
        limits = all_lanes(builder, limit)

        def tops(first: Any) -> Any:
            offsets = [builder.add(at, builder.add(first, WORD(k))) for k in (-1, 0, 1)]
            places = [lanes_at(context, builder, signature.args[0], array, k, kind) for k in offsets]
            before, here, after = (builder.load(place, align=8) for place in places)
            high = builder.fcmp_ordered(">=", here, limits)
            risen = builder.fcmp_ordered(">=", here, before)
            return builder.and_(builder.and_(high, risen), builder.fcmp_ordered(">", here, after))

        return _mask(builder, tops)

    return types.uint64(values, offset, least), generate

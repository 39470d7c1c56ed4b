"""Which blocks lie close to the curve, and which above it, in the eight lanes of folded rows."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.baseline import _TOLERANCE_SHARE
from seamtell.features.kernel.lanes import EIGHT, WIDE, WORD, lanes_at, sizes, upper

__all__ = ["compare_blocks"]


@intrinsic  # type: ignore[untyped-decorator]
def compare_blocks(
    typing_context: Any,
    values: Any,
    curve: Any,
    start: Any,
    least: Any,
    rows: Any,
    taken: Any,
    within: Any,
    above: Any,
) -> Any:
    """Write the sets of blocks that lie within tolerance of the curve, and above it; all is folded.

    The tolerance is a share of `start`, and at least `least`, which has a number for each lane. Returned are
    the lanes with any block within, and those with any block that is within and not taken, or the reverse.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, bits = signature.args, ir.IntType(EIGHT)
        share = ir.Constant(WIDE, [_TOLERANCE_SHARE] * EIGHT)
        smallest = builder.load(lanes_at(context, builder, kinds[3], arguments[3], WORD(0), WIDE), align=8)
        found = [cgutils.alloca_once_value(builder, bits(0)) for _ in range(2)]
        with cgutils.for_range(builder, arguments[4]) as loop:
            at = builder.mul(loop.index, WORD(EIGHT))
            value, point, begin = (
                builder.load(lanes_at(context, builder, kind, array, at, WIDE), align=8)
                for kind, array in zip(kinds[:3], arguments[:3], strict=True)
            )
            before, *places = (
                lanes_at(context, builder, kind, array, loop.index, bits)
                for kind, array in zip(kinds[5:], arguments[5:], strict=True)
            )
            tolerance = upper(builder, smallest, builder.fmul(share, sizes(builder, begin)))
            away = sizes(builder, builder.fsub(value, point))
            close = builder.bitcast(builder.fcmp_ordered("<=", away, tolerance), bits)
            higher = builder.bitcast(builder.fcmp_ordered(">", value, builder.fadd(point, tolerance)), bits)
            unlike = builder.xor(close, builder.load(before, align=1))
            for lanes, place in zip((close, higher), places, strict=True):
                builder.store(lanes, place, align=1)
            for lanes, union in zip((close, unlike), found, strict=True):
                builder.store(builder.or_(builder.load(union), lanes), union)
        unions = [builder.zext(builder.load(union), WORD) for union in found]
        return context.make_tuple(builder, signature.return_type, unions)

    arguments = (values, curve, start, least, rows, taken, within, above)
    return types.UniTuple(types.int64, 2)(*arguments), generate

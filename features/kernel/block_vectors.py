"""Which blocks lie close to the curve, eight at a time."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from seamtell.features.kernel.lanes import EIGHT, WIDE, WORD, inside, lanes_at, sizes

__all__ = ["mark_within"]


@intrinsic  # type: ignore[untyped-decorator]
def mark_within(
    typing_context: Any, values: Any, curve: Any, tolerance: Any, taken: Any, length: Any, now: Any
) -> Any:
    """Write which blocks lie within tolerance of the curve: how many, and how many unlike `taken`.

    Arrays are folded; reads and writes up to seven numbers further.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, n = signature.args, arguments[4]
        none, whole = (ir.Constant(WIDE, [number] * EIGHT) for number in (0.0, 1.0))
        counts = [cgutils.alloca_once_value(builder, WORD(0)) for _ in range(2)]
        with cgutils.for_range_slice(builder, WORD(0), n, WORD(EIGHT), WORD) as (at, _):
            value, point, allowed, before = (
                builder.load(lanes_at(context, builder, kind, array, at, WIDE), align=8)
                for kind, array in zip(kinds[:4], arguments[:4], strict=True)
            )
            away = sizes(builder, builder.fsub(value, point))
            here = inside(builder, at, n)
            close = builder.and_(builder.fcmp_ordered("<=", away, allowed), here)
            unlike = builder.and_(builder.xor(close, builder.fcmp_ordered(">", before, none)), here)
            for count, lanes in zip(counts, (close, unlike), strict=True):
                ones = builder.zext(builder.ctpop(builder.bitcast(lanes, ir.IntType(EIGHT))), WORD)
                builder.store(builder.add(builder.load(count), ones), count)
            place = lanes_at(context, builder, kinds[5], arguments[5], at, WIDE)
            builder.store(builder.select(close, whole, none), place, align=8)
        found = [builder.load(count) for count in counts]
        return context.make_tuple(builder, signature.return_type, found)

    return types.UniTuple(types.int64, 2)(values, curve, tolerance, taken, length, now), generate

"""Sorting 64 numbers in registers, for what has a rank among a few dozen.

References
----------
K. E. Batcher, Sorting networks and their applications, AFIPS Spring Joint Computer Conference (1968):
the bitonic merge; here all comparators point the same way, and each merge begins with the mirrored one.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from seamtell.features.kernel.lanes import (
    EIGHT,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    lanes_at,
    lower,
    shuffled,
    turned,
    upper,
)

__all__ = ["SORTED", "rank_in_registers", "sort_in_registers"]

SORTED = EIGHT * EIGHT
"""So many numbers are sorted."""

_WORDS = ir.VectorType(WORD, EIGHT)
_PLACE = SORTED - 1
"""Bits that hold the place of a number."""


@intrinsic  # type: ignore[untyped-decorator]
def sort_in_registers(typing_context: Any, values: Any, ascending: Any) -> Any:
    """Write the first `SORTED` float64 values in ascending order; no NaN."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        rows = _load_rows(context, builder, signature.args[0], arguments[0])
        _store_rows(context, builder, signature.args[1], arguments[1], _in_order(builder, rows))
        return context.get_dummy_value()

    return types.void(values, ascending), generate


@intrinsic  # type: ignore[untyped-decorator]
def rank_in_registers(typing_context: Any, values: Any, ascending: Any, order: Any) -> Any:
    """Write the first `SORTED` float64 values in ascending order, and the place of each to an int64 array.

    The place is sorted along in the lowest bits of a value. Whether these are all zero, as they are for the
    mean of two float32 numbers of about the same size, is returned; where not, nothing of use is written.
    The values are finite.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kinds, (array, target, places) = signature.args, arguments
        words = [builder.bitcast(row, _WORDS) for row in _load_rows(context, builder, kinds[0], array)]
        low, high = (ir.Constant(_WORDS, [bits] * EIGHT) for bits in (_PLACE, -1 - _PLACE))
        used = words[0]
        for word in words[1:]:
            used = builder.or_(used, word)
        free = builder.icmp_unsigned("==", across(builder, _either, builder.and_(used, low)), WORD(0))
        marked = []
        for row, word in enumerate(words):
            here = ir.Constant(_WORDS, list(range(row * EIGHT, (row + 1) * EIGHT)))
            marked.append(builder.bitcast(builder.or_(word, here), WIDE))
        ranked = [builder.bitcast(row, _WORDS) for row in _in_order(builder, marked)]
        rows = [builder.bitcast(builder.and_(word, high), WIDE) for word in ranked]
        _store_rows(context, builder, kinds[1], target, rows)
        _store_rows(context, builder, kinds[2], places, [builder.and_(word, low) for word in ranked])
        return free

    return types.boolean(values, ascending, order), generate


def _either(builder: Builder, a: Value, b: Value) -> Value:
    return builder.or_(a, b)


def _load_rows(context: Any, builder: Builder, kind: Any, array: Value) -> list[Value]:
    return [
        builder.load(lanes_at(context, builder, kind, array, WORD(row * EIGHT), WIDE), align=8)
        for row in range(EIGHT)
    ]


def _store_rows(context: Any, builder: Builder, kind: Any, array: Value, rows: list[Value]) -> None:
    for row, lanes in enumerate(rows):
        builder.store(lanes, lanes_at(context, builder, kind, array, WORD(row * EIGHT), lanes.type), align=8)


def _in_order(builder: Builder, rows: list[Value]) -> list[Value]:
    """Sort by a network in which the n-th number is lane ``n // EIGHT`` of row ``n % EIGHT``, and turn that.

    So most comparators are between rows, and none of these has to move lanes.
    """
    size = 2
    while size <= SORTED:
        rows = _compare(builder, rows, size - 1)
        step = size // 4
        while step > 0:
            rows = _compare(builder, rows, step)
            step //= 2
        size *= 2
    return turned(builder, rows)


def _compare(builder: Builder, rows: list[Value], between: int) -> list[Value]:
    """Compare each number with that whose index differs in the bits of `between`; the lower goes first."""
    across_rows, across_lanes = between % EIGHT, between // EIGHT
    first = 1 << (between.bit_length() - 1)
    compared = []
    for row, here in enumerate(rows):
        there = rows[row ^ across_rows]
        if across_lanes == 0:
            compared.append(upper(builder, there, here) if row & first else lower(builder, here, there))
            continue
        there = shuffled(builder, there, there, [lane ^ across_lanes for lane in range(EIGHT)])
        last = [lane & (first // EIGHT) for lane in range(EIGHT)]
        lanes = [EIGHT + lane if is_last else lane for lane, is_last in enumerate(last)]
        compared.append(shuffled(builder, lower(builder, here, there), upper(builder, here, there), lanes))
    return compared

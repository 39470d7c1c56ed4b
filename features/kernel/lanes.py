"""Code for many lanes at once: what every vectorised step of the kernels is written with."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from llvmlite import ir
from numba.core import cgutils

__all__ = [
    "EIGHT",
    "LANES",
    "NARROW",
    "NEVER_NAN",
    "WIDE",
    "WORD",
    "Builder",
    "Value",
    "across",
    "all_lanes",
    "cases",
    "exchanged",
    "further",
    "inside",
    "lanes_at",
    "lower",
    "mask_of_64",
    "shuffled",
    "sizes",
    "turned",
    "upper",
]

LANES = 16
EIGHT = 8

_VECTOR = ir.VectorType(ir.FloatType(), LANES)
NARROW, WIDE = ir.VectorType(ir.FloatType(), EIGHT), ir.VectorType(ir.DoubleType(), EIGHT)
WORD = ir.IntType(64)
NEVER_NAN = ("nnan", "nsz")

Builder = Any
Value = Any


def lanes_at(context: Any, builder: Any, kind: Any, array: Any, offset: Any, lanes: Any = _VECTOR) -> Any:
    """Pointer to the lanes that begin at `offset` of an array."""
    data = context.make_array(kind)(context, builder, array).data
    place = builder.gep(data, [offset])
    return builder.bitcast(place, lanes.as_pointer())


def all_lanes(builder: Any, value: Any, lanes: int = LANES) -> Any:
    """One number in every lane."""
    kind = ir.VectorType(value.type, lanes)
    one = builder.insert_element(ir.Constant(kind, ir.Undefined), value, ir.IntType(32)(0))
    none = ir.Constant(ir.VectorType(ir.IntType(32), lanes), [0] * lanes)
    return builder.shuffle_vector(one, ir.Constant(kind, ir.Undefined), none)


def further(builder: Any, here: Any, after: Any, by: int) -> Any:
    """Eight lanes from the one `by` further on, of two groups that follow each other."""
    return shuffled(builder, here, after, range(by, by + EIGHT))


def shuffled(builder: Builder, a: Value, b: Value, lanes: Sequence[int]) -> Value:
    """`EIGHT` lanes of two groups, those of the second counted on from the first."""
    return builder.shuffle_vector(a, b, ir.Constant(ir.VectorType(ir.IntType(32), EIGHT), list(lanes)))


def exchanged(step: int) -> tuple[list[int], list[int]]:
    """Lanes of two groups for `shuffled`, after one step of turning a matrix: those of its two results."""
    first = [lane if not lane & step else EIGHT + lane - step for lane in range(EIGHT)]
    return first, [lane + step if not lane & step else EIGHT + lane for lane in range(EIGHT)]


def turned(builder: Builder, rows: list[Value]) -> list[Value]:
    """Rows and lanes exchanged: an 8 by 8 matrix turned in three steps."""
    for step in (1, 2, 4):
        keep, swap = exchanged(step)
        rows = [
            shuffled(builder, rows[i - step], rows[i], swap)
            if i & step
            else shuffled(builder, rows[i], rows[i + step], keep)
            for i in range(EIGHT)
        ]
    return rows


def lower(builder: Builder, a: Value, b: Value) -> Value:
    """The lower of two, lane by lane; no NaN."""
    return builder.select(builder.fcmp_ordered("<", a, b, flags=NEVER_NAN), a, b, flags=NEVER_NAN)


def upper(builder: Builder, a: Value, b: Value) -> Value:
    """The upper of two, lane by lane; no NaN."""
    return builder.select(builder.fcmp_ordered(">", a, b, flags=NEVER_NAN), a, b, flags=NEVER_NAN)


def sizes(builder: Builder, lanes: Value) -> Value:
    """Without their sign, lane by lane."""
    kind = lanes.type
    bits = {ir.FloatType(): 32, ir.DoubleType(): 64}[kind.element]
    name = f"llvm.fabs.v{kind.count}f{bits}"
    return builder.call(
        cgutils.get_or_insert_function(builder.module, ir.FunctionType(kind, [kind]), name), [lanes]
    )


def across(builder: Builder, join: Callable[[Builder, Value, Value], Value], lanes: Value) -> Value:
    """All lanes joined to one number, by halves."""
    count = lanes.type.count
    while count > 1:
        count //= 2
        halves = [
            builder.shuffle_vector(
                lanes,
                lanes,
                ir.Constant(ir.VectorType(ir.IntType(32), count), list(range(begin, begin + count))),
            )
            for begin in (0, count)
        ]
        lanes = join(builder, *halves)
    return builder.extract_element(lanes, ir.IntType(32)(0))


def inside(builder: Builder, at: Value, count: Value, lanes: int = EIGHT) -> Value:
    """Which lanes from `at` on lie before `count`."""
    numbers = ir.Constant(ir.VectorType(WORD, lanes), list(range(lanes)))
    return builder.icmp_signed("<", numbers, all_lanes(builder, builder.sub(count, at), lanes))


def mask_of_64(builder: Builder, of_lanes: Callable[[Value], Value]) -> Value:
    """64 bits, the first sample in the lowest, from those of `LANES` samples at an offset."""
    word = WORD(0)
    for first in range(0, 64, LANES):
        bits = builder.bitcast(of_lanes(WORD(first)), ir.IntType(LANES))
        word = builder.or_(word, builder.shl(builder.zext(bits, WORD), WORD(first)))
    return word


def cases(builder: Any, name: str, value: Any, sizes: Iterable[int]) -> Iterator[int]:
    """Write code for each size that a value may have, as the caller does in its loop; else nothing runs."""
    end = builder.append_basic_block(f"{name}.end")
    choice = builder.switch(value, end)
    for size in sizes:
        case = builder.append_basic_block(f"{name}.{size}")
        choice.add_case(WORD(size), case)
        builder.position_at_end(case)
        yield size
        builder.branch(end)
    builder.position_at_end(end)

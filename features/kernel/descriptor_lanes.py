"""Building blocks of loops over a stretch of one channel, eight lanes at a time.

A window holds a hundred samples, so a loop that the compiler vectorises by itself spends most of
its time on the samples left over. Here the last lanes are masked instead, and nothing is left over:
what is made of these may read up to 63 samples beyond the stretch, whatever they hold.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from llvmlite import ir
from numba.core import cgutils

from seamtell.features.kernel.lanes import (
    EIGHT,
    WIDE,
    WORD,
    Builder,
    Value,
    across,
    all_lanes,
    inside,
    lanes_at,
    upper,
)

__all__ = [
    "DOUBLE",
    "NONE",
    "Stretch",
    "minus",
    "numbered",
    "plus",
    "sums_over",
    "times",
]

DOUBLE = ir.DoubleType()
NONE = ir.Constant(WIDE, [0.0] * EIGHT)
_NUMBERS = ir.Constant(WIDE, [float(lane) for lane in range(EIGHT)])
_FUSED = ("contract", "nsz")


def times(builder: Builder, a: Value, b: Value) -> Value:
    """Product; its rounding may fuse with that of a sum."""
    return builder.fmul(a, b, flags=_FUSED)


def plus(builder: Builder, a: Value, b: Value) -> Value:
    """Sum."""
    return builder.fadd(a, b, flags=_FUSED)


def minus(builder: Builder, a: Value, b: Value) -> Value:
    """Difference."""
    return builder.fsub(a, b, flags=_FUSED)


def numbered(builder: Builder, at: Value) -> Value:
    """Number of the sample in each lane from `at` on, as float64."""
    return builder.fadd(all_lanes(builder, builder.sitofp(at, DOUBLE), EIGHT), _NUMBERS)


def sums_over(
    builder: Builder, count: Value, how_many: int, terms: Callable[[Value], list[Value]]
) -> list[Value]:
    """Sums over samples 0, 1, … of several terms, given for the eight from a sample on."""
    rooms = [cgutils.alloca_once_value(builder, NONE) for _ in range(how_many)]
    with cgutils.for_range_slice(builder, WORD(0), count, WORD(EIGHT), WORD) as (at, _):
        for room, term in zip(rooms, terms(at), strict=True):
            builder.store(plus(builder, builder.load(room), term), room)
    return [across(builder, plus, builder.load(room)) for room in rooms]


class Stretch:
    """Eight samples at a time of an array, from a sample on."""

    def __init__(self, context: Any, builder: Builder, kind: Any, array: Value, first: Value) -> None:
        self._load = lambda at: builder.load(
            lanes_at(context, builder, kind, array, builder.add(first, at), WIDE), align=8
        )
        self._builder = builder

    def eight(self, at: Value) -> Value:
        """Whatever is there."""
        return self._load(at)

    def inside(self, at: Value, count: Value) -> Value:
        """Zero in the lanes from `count` on."""
        return self._builder.select(inside(self._builder, at, count), self._load(at), NONE)

    def positive(self, at: Value, count: Value) -> Value:
        """Zero in place of what is negative too."""
        return upper(self._builder, self.inside(at, count), NONE)

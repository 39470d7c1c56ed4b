"""Timing one piece of work several times, and what is kept of it."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["RUNS", "Measured", "NotMeasured", "measured"]

RUNS = 5


@dataclass(frozen=True)
class Measured:
    """One row of the table.

    Parameters
    ----------
    key : str
        Names the row in ratios and in the committed table.
    work : str
        What was done, for people.
    unit : str
        ``seams/s``, ``rows/s``, ``s``, ``ms`` or ``MiB``.
    best, median : float
        Of `runs` runs after one that is not counted. For rates the highest is the best.
    amount : int
        Units of work in one run.
    """

    key: str
    work: str
    unit: str
    best: float
    median: float
    runs: int
    amount: int = 1


@dataclass(frozen=True)
class NotMeasured:
    """A row that could not be measured, and why."""

    key: str
    work: str
    why: str


def measured(
    key: str, work: str, unit: str, amount: int, call: Callable[[], object], runs: int = RUNS
) -> Measured:
    """Time `call`, which does `amount` units of work, as a rate; for the unit ``s`` as seconds."""
    call()
    seconds = [_seconds(call) for _ in range(runs)]
    best, median = min(seconds), statistics.median(seconds)
    if unit == "s":
        return Measured(key, work, unit, best, median, runs, amount)
    return Measured(key, work, unit, amount / best, amount / median, runs, amount)


def _seconds(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start

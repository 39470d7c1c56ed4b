"""Means over draws, and paired differences with their intervals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy import stats

from learning.answering import AS_CHOSEN, CANDIDATES, Answer, CellResult
from learning.cells import NOMINAL, REAL_ONLY, Cell

__all__ = ["READINGS", "Interval", "Line", "as_good_as", "lines_of", "mean_interval"]

READINGS: Mapping[str, Callable[[Answer], float]] = {
    "examiner": lambda answer: answer.by_examiner,
    "truth": lambda answer: answer.by_truth,
    "borders merged": lambda answer: answer.by_truth_borders_merged,
}
"""Macro-F1 against the examiner's labels, against the hidden truth, and with border pairs merged."""


@dataclass(frozen=True)
class Interval:
    """Mean over the draws with its 95 % interval by Student's t; NaN bounds for a single draw."""

    mean: float
    low: float
    high: float
    draws: int

    def __str__(self) -> str:
        return f"{self.mean:.3f} [{self.low:.3f}, {self.high:.3f}]"

    def signed(self) -> str:
        """With the sign written, as a difference."""
        return f"{self.mean:+.3f} [{self.low:+.3f}, {self.high:+.3f}]"


@dataclass(frozen=True)
class Line:
    """One line of a table.

    Parameters
    ----------
    physics, left_out, sections, candidate, reading : str or int
        What the line is about; `reading` is a key of `READINGS`.
    macro_f1 : Interval
    against_real_only : Interval or None
        Paired difference, draw by draw, to the same sections without physics.
    weights : tuple of float or None
        What each draw chose; None for physics alone.
    borders : tuple of float
        Confusions of each border pair, mean over the draws.
    errors, asked : float
        All confusions, mean over the draws; flaws asked.
    """

    physics: str
    left_out: str
    sections: int
    candidate: str
    reading: str
    macro_f1: Interval
    against_real_only: Interval | None
    weights: tuple[float | None, ...]
    borders: tuple[float, ...]
    errors: float
    asked: int


def mean_interval(values: list[float]) -> Interval:
    """Mean and 95 % interval of independent draws.

    Examples
    --------
    >>> mean_interval([1.0, 2.0, 3.0])
    Interval(mean=2.0, low=-0.48..., high=4.48..., draws=3)
    """
    mean = float(np.mean(values))
    if len(values) < 2:
        return Interval(mean, float("nan"), float("nan"), len(values))
    half = float(stats.t.ppf(0.975, len(values) - 1)) * float(np.std(values, ddof=1)) / sqrt(len(values))
    return Interval(mean, mean - half, mean + half, len(values))


def lines_of(cells: Iterable[Cell], results: Mapping[Cell, CellResult]) -> list[Line]:
    """One line a group of cells that differ in their draw alone, candidate and reading."""
    groups: dict[Cell, list[Cell]] = {}
    for cell in cells:
        if cell in results:
            groups.setdefault(replace(cell, draw=0), []).append(cell)
    return [
        _line(group, results, candidate, reading)
        for group in groups.values()
        for candidate in (AS_CHOSEN, *CANDIDATES)
        for reading in READINGS
    ]


def _line(cells: list[Cell], results: Mapping[Cell, CellResult], candidate: str, reading: str) -> Line:
    answers = [_answer(results[cell], candidate) for cell in cells]
    read = READINGS[reading]
    differences = [
        read(answer) - read(_answer(results[alone], candidate))
        for cell, answer in zip(cells, answers, strict=True)
        if (alone := replace(cell, physics=REAL_ONLY)) in results and cell.physics != REAL_ONLY
    ]
    return Line(
        physics=cells[0].physics,
        left_out=cells[0].left_out,
        sections=cells[0].sections,
        candidate=candidate,
        reading=reading,
        macro_f1=mean_interval([read(answer) for answer in answers]),
        against_real_only=mean_interval(differences) if differences else None,
        weights=tuple(answer.weight for answer in answers),
        borders=tuple(np.mean([answer.borders for answer in answers], axis=0).tolist()),
        errors=float(np.mean([answer.errors for answer in answers])),
        asked=answers[0].asked,
    )


def _answer(result: CellResult, candidate: str) -> Answer:
    return next(answer for answer in result.answers if answer.candidate == candidate)


def as_good_as(lines: Iterable[Line], candidate: str, reading: str) -> dict[int, float]:
    """Real sections a class that training without physics needs for what it reaches with it.

    Between the numbers tried, macro-F1 is taken as straight over the logarithm of the
    number; infinite where even the most sections do not reach it.
    """
    mine = [line for line in lines if line.candidate == candidate and line.reading == reading]
    alone = sorted((ln.sections, ln.macro_f1.mean) for ln in mine if ln.physics == REAL_ONLY)
    numbers, reached = np.array(alone).T
    reached = np.maximum.accumulate(reached)
    needed = {}
    for line in mine:
        if line.physics == NOMINAL:
            value = line.macro_f1.mean
            beyond = value > reached[-1]
            needed[line.sections] = (
                float("inf") if beyond else float(2 ** np.interp(value, reached, np.log2(numbers)))
            )
    return dict(sorted(needed.items()))

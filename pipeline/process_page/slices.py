"""The choices of the page's filters by line and recipe, and what decided seams show in each week of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.process_page.view import ALL, Period
from seamtell.pipeline.production.decided import ANSWERS

__all__ = ["Slice", "WeekCounts", "periods_of", "slices_of", "week_counts"]


@dataclass(frozen=True, eq=False)
class Slice:
    """Seams of one choice of line and recipe: a bool array of shape (n,)."""

    line: str
    recipe: str
    seams: NDArray[np.bool_]

    @property
    def whole(self) -> bool:
        """Nothing is left out."""
        return self.line == self.recipe == ALL


@dataclass(frozen=True, eq=False)
class WeekCounts:
    """What a slice showed week by week.

    Parameters
    ----------
    weeks : datetime64 array of shape (w,)
        Mondays, without gaps.
    answers : int array of shape (w, a)
    seams : int array of shape (w,)
    metres : float array of shape (w,)
    """

    weeks: NDArray[np.datetime64]
    answers: NDArray[np.int64]
    seams: NDArray[np.int64]
    metres: NDArray[np.float64]


def slices_of(decided: Decided) -> tuple[Slice, ...]:
    """Every choice in which there is a seam, the whole first."""
    lines, recipes = decided.seams.group_by("line"), decided.seams.group_by("recipe")
    every = np.ones(len(decided.seams), np.bool_)
    found = []
    for line in (ALL, *lines.names):
        of_line = every if line == ALL else lines.codes == lines.names.index(line)
        for recipe in (ALL, *recipes.names):
            own = of_line & (every if recipe == ALL else recipes.codes == recipes.names.index(recipe))
            if own.any():
                found.append(Slice(line, recipe, own))
    return tuple(found)


def periods_of(decided: Decided) -> tuple[Period, ...]:
    """The whole time, and its months where there are several."""
    months = decided.seams.group_by("month").names
    single = () if len(months) < 2 else months
    return (Period(ALL, "the whole time", months), *(Period(month, month, (month,)) for month in single))


def week_counts(decided: Decided, own: Slice) -> WeekCounts:
    """Count by week; the weeks are those of all seams."""
    seams, indications = decided.seams, decided.indications
    mondays = seams.weeks
    first, number = mondays.min(), (mondays - mondays.min()).astype(np.int64) // 7
    count, width = int(number.max()) + 1, len(ANSWERS)
    inside = own.seams[indications.seam]
    keys = number[indications.seam[inside]] * width + indications.answer[inside]
    return WeekCounts(
        weeks=first + 7 * np.arange(count),
        answers=np.bincount(keys, minlength=count * width).reshape(count, width),
        seams=np.bincount(number[own.seams], minlength=count),
        metres=np.bincount(number[own.seams], weights=seams.metres[own.seams], minlength=count).astype(
            np.float64
        ),
    )

"""Periods that a person names to compare them: ``2026-01..2026-03`` or ``2026-05-04..2026-05-17``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.months import next_month

__all__ = ["PERIOD_COLUMN", "ChosenPeriod", "parse_periods", "period_names"]

PERIOD_COLUMN = "chosen period"
"""Column of the decided seams that holds the period which each lies in."""
_DATE = re.compile(r"(\d{4})-(\d{2})(?:-(\d{2}))?")
_WRITE = "write a month, a day or FIRST..LAST, such as 2026-05 or 2026-05-04..2026-05-17"


@dataclass(frozen=True, order=True)
class ChosenPeriod:
    """Days from the first to the last, both inside; `name` is what the person wrote."""

    first: date
    last: date
    name: str


def parse_periods(texts: Sequence[str]) -> tuple[ChosenPeriod, ...]:
    """Periods in order of time.

    Parameters
    ----------
    texts : sequence of str
        Months (``2026-05``), days, or ``FIRST..LAST`` of either, both inside.

    Raises
    ------
    BadInput
        No dates, the last before the first, or two periods that share a day.

    Examples
    --------
    >>> [(str(one.first), str(one.last)) for one in parse_periods(["2026-02", "2026-01-05..2026-01-11"])]
    [('2026-01-05', '2026-01-11'), ('2026-02-01', '2026-02-28')]
    """
    periods = sorted(_parsed(text) for text in texts)
    for before, after in pairwise(periods):
        if after.first <= before.last:
            raise BadInput(
                f"the periods {before.name} and {after.name} share days, so a seam would count twice",
                where="--period",
                do="name periods that do not overlap",
            )
    return tuple(periods)


def period_names(
    periods: Sequence[ChosenPeriod], welded_at: NDArray[np.datetime64]
) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Name of the period of each seam, and whether it lies in any; both of shape (n,).

    Raises
    ------
    BadInput
        A period in which no seam was welded.
    """
    days = welded_at.astype("datetime64[D]")
    names = np.full(len(days), "", dtype=object)
    for period in periods:
        inside = (days >= np.datetime64(period.first)) & (days <= np.datetime64(period.last))
        if not inside.any():
            span = f"they were welded {days.min()} to {days.max()}" if len(days) else "there is none"
            raise BadInput(
                f"no decided seam was welded in {period.name}: {span}",
                where="--period",
                do="name a period of these decisions, or others with '--decisions'",
            )
        names[inside] = period.name
    return names, names != ""


def _parsed(text: str) -> ChosenPeriod:
    first, mark, last = text.strip().partition("..")
    begin, end = _days(first, text)[0], _days(last if mark else first, text)[1]
    if end < begin:
        raise BadInput(f"period '{text}' ends before it begins", where="--period", do=_WRITE)
    return ChosenPeriod(begin, end, text.strip())


def _days(text: str, whole: str) -> tuple[date, date]:
    """First and last day of a month or a day."""
    found = _DATE.fullmatch(text.strip())
    try:
        if found is None:
            raise ValueError
        year, month = int(found[1]), int(found[2])
        if found[3]:
            day = date(year, month, int(found[3]))
            return day, day
        first = date(year, month, 1)
        return first, next_month(first) - timedelta(days=1)
    except (ValueError, OverflowError):
        raise BadInput(f"no period: '{whole}'", where="--period", do=_WRITE) from None

"""Months of the calendar."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TypeVar

__all__ = ["next_month"]

Day = TypeVar("Day", bound=date)


def next_month(first: Day) -> Day:
    """First of the next month, at the same time of day where there is one.

    Parameters
    ----------
    first : date or datetime
        On the first of a month.

    Raises
    ------
    OverflowError
        Beyond the last year that a date can have.

    Examples
    --------
    >>> next_month(date(2026, 12, 1))
    datetime.date(2027, 1, 1)
    """
    # 32 days after the first of a month always lie in the next one.
    return (first + timedelta(days=32)).replace(day=1)

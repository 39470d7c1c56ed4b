"""One quantity against the range in which the theory answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from math import inf, isfinite

from seamtell.features.errors import SeamtellError

__all__ = ["JUST_ABOVE_ZERO", "Limit", "RangeNote", "Verdict", "refuse_outside"]

JUST_ABOVE_ZERO = 1e-6
"""Least value of what must be above zero."""
_ROUNDING = 1e-9


class Verdict(StrEnum):
    """Where a quantity lies in the theory's range."""

    INSIDE = "inside"
    STRAINED = "strained"
    """Answered, and less certain."""
    OUTSIDE = "outside"
    """Not answered."""


@dataclass(frozen=True)
class RangeNote:
    """A quantity as got, the limit it meets, and the verdict.

    Parameters
    ----------
    quantity : str
    value : float
    unit : str
        Empty for a number without one.
    allowed : str
        Range as text.
    verdict : Verdict
    reason : str
        Why the limit is there.
    do : str
        What helps.
    """

    quantity: str
    value: float
    unit: str
    allowed: str
    verdict: Verdict
    reason: str
    do: str


@dataclass(frozen=True)
class Limit:
    """A limit with its reason.

    Parameters
    ----------
    quantity, unit, reason, do : str
    least, most : float
        Outside beyond these; values that equal them are allowed.
    calm_from, calm_to : float
        Strained beyond these.

    Examples
    --------
    >>> Limit("gap", "mm", "the coil no longer couples", "come closer", most=2.0).note(3.0).verdict.value
    'outside'
    """

    quantity: str
    unit: str
    reason: str
    do: str
    least: float = -inf
    most: float = inf
    calm_from: float = -inf
    calm_to: float = inf

    def note(self, value: float) -> RangeNote:
        """Judge one value; what is not finite is outside."""
        slack = _ROUNDING * max(1.0, abs(value))
        if not (isfinite(value) and self.least - slack <= value <= self.most + slack):
            verdict = Verdict.OUTSIDE
        elif self.calm_from - slack <= value <= self.calm_to + slack:
            verdict = Verdict.INSIDE
        else:
            verdict = Verdict.STRAINED
        return RangeNote(self.quantity, value, self.unit, self.allowed, verdict, self.reason, self.do)

    @cached_property
    def allowed(self) -> str:
        """Range as text, with the unit."""
        unit = f" {self.unit}" if self.unit else ""
        if self.least == -inf:
            return "any" if self.most == inf else f"at most {self.most:.4g}{unit}"
        above_zero = self.least == JUST_ABOVE_ZERO
        if self.most == inf:
            return "above 0" if above_zero else f"at least {self.least:.4g}{unit}"
        return f"{'above 0' if above_zero else f'{self.least:.4g}'} to {self.most:.4g}{unit}"


def refuse_outside(notes: Iterable[RangeNote]) -> None:
    """Raise for the first quantity that is outside.

    Raises
    ------
    SeamtellError
        Names the quantity, its value, what is allowed and why.
    """
    for note in notes:
        if note.verdict is Verdict.OUTSIDE:
            unit = f" {note.unit}" if note.unit else ""
            raise SeamtellError(
                f"{note.quantity} is {note.value:.4g}{unit}, allowed is {note.allowed}: {note.reason}",
                do=note.do,
            )

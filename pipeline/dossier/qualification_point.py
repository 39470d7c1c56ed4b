"""One thing that a qualification asks, and how far the record shows it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Point", "Shown", "not_shown", "partly", "shown"]


class Shown(StrEnum):
    """How far the record shows a point."""

    YES = "evidenced"
    PARTLY = "in part"
    NO = "not evidenced"


@dataclass(frozen=True)
class Point:
    """One point.

    Parameters
    ----------
    id : str
        Safe in a CSV file.
    asked : str
        What is asked, in our own words.
    answer : str
        What the record says, or what it lacks.
    shown : Shown
    where : str
        Part of the dossier that holds the evidence; empty for none.
    """

    id: str
    asked: str
    answer: str
    shown: Shown
    where: str = ""


def shown(id: str, asked: str, answer: str, where: str) -> Point:
    """A point that the record shows."""
    return Point(id, asked, answer, Shown.YES, where)


def partly(id: str, asked: str, answer: str, where: str) -> Point:
    """A point that the record shows in part; the answer says what it lacks."""
    return Point(id, asked, answer, Shown.PARTLY, where)


def not_shown(id: str, asked: str, lacking: str) -> Point:
    """A point that the record does not show; `lacking` says what would show it."""
    return Point(id, asked, lacking, Shown.NO)

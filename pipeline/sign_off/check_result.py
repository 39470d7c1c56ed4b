"""What one check of a verification found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from seamtell.features.errors import SeamtellError

__all__ = ["Check", "CheckOutcome", "Finding", "checked", "fault", "fine", "note", "unchecked"]


class CheckOutcome(StrEnum):
    """How a check ended."""

    OK = "ok"
    NOTE = "note"
    """Something to know that calls nothing into question."""
    MISMATCH = "mismatch"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True)
class Finding:
    """Outcome and what it was, in words."""

    outcome: CheckOutcome
    text: str


@dataclass(frozen=True)
class Check:
    """One check by name, with what it found."""

    name: str
    outcome: CheckOutcome
    text: str


def fine(text: str) -> Finding:
    """All as it should be."""
    return Finding(CheckOutcome.OK, text)


def note(text: str) -> Finding:
    """Nothing wrong, but to be known."""
    return Finding(CheckOutcome.NOTE, text)


def fault(text: str) -> Finding:
    """Something is not as it was signed."""
    return Finding(CheckOutcome.MISMATCH, text)


def unchecked(text: str) -> Finding:
    """Nothing to check it against."""
    return Finding(CheckOutcome.NOT_CHECKED, text)


def checked(name: str, look: Callable[[], Finding]) -> Check:
    """Run one check; what cannot be read does not match."""
    try:
        found = look()
    except SeamtellError as problem:
        found = fault(str(problem))
    except OSError as problem:
        found = fault(f"{problem.filename or ''}: {problem.strerror or problem}")
    return Check(name, found.outcome, found.text)

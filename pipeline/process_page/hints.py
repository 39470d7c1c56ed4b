"""Hints at causes, with what on the page speaks for each: common practice, never findings."""

from __future__ import annotations

from collections.abc import Iterable

from seamtell.pipeline.process_page.found import Found
from seamtell.pipeline.process_page.view import HintRow
from seamtell.pipeline.production.causes import CauseHint
from seamtell.pipeline.production.places import Measured

__all__ = ["hint_rows"]

_ALWAYS = "always"
_COLUMN_OF = {"one coil": "coil", "one line": "line", "one shift": "shift", "one recipe": "recipe"}


def hint_rows(hints: Iterable[CauseHint], found: Found) -> tuple[HintRow, ...]:
    """Hints whose pattern the page shows, then those that need none; the others are left out."""
    matched, plain = [], []
    for hint in hints:
        label = hint.flaw.value
        if hint.when == _ALWAYS:
            plain.append(HintRow(label, hint.cause, hint.look, "no pattern needed"))
            continue
        speaks = _pattern(hint.when, label, found)
        if speaks:
            matched.append(HintRow(label, hint.cause, hint.look, speaks[0]))
    return (*matched, *plain)


def _pattern(when: str, label: str, found: Found) -> list[str]:
    """What on the page shows the pattern for a flaw."""
    if when == "repeats at one position":
        own = (mark for mark in found.marks if mark.label == label)
        return [f"line {m.line}, {m.from_mm:.0f} to {m.to_mm:.0f} mm {m.measured}" for m in own]
    if when == "since a date":
        rises = (one for one in found.changes if one.label == label and one.after > one.before)
        return [f"more since the week of {one.week}" for one in rises]
    if when == "near the ends":
        uneven = (one for one in found.even if one.label == label and one.p < 1.0 - found.level)
        way = Measured.RELATIVE.words
        return [f"not even along the seam, p {one.p:.2g}" for one in uneven if one.measured == way]
    column = _COLUMN_OF[when]
    leading = (one for one in found.standing_out(column) if one.label == label and found.leads(one))
    return [f"{column} {one.group}" for one in leading]

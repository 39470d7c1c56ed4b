"""The first sentences of the process page: what dominates, since when, where, and with which instrument."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from seamtell.pipeline.corrected_mix import CorrectedMix
from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.process_page.found import Found
from seamtell.pipeline.process_page.instrument_rows import Instrument
from seamtell.pipeline.process_page.view import ALL, ChangeRow, GroupRow, MarkRow
from seamtell.pipeline.report.palette import words

__all__ = ["answer_of", "news_of"]

_NEW_AFTER_DAYS = 28
_MOST = 3


def answer_of(mix: CorrectedMix, found: Found, instrument: Instrument) -> tuple[str, ...]:
    """Sentences, the most important first; what was not found is not told."""
    return (
        mix.answer,
        *(_change(one) for one in _strongest(found.changes)),
        *(_mark(one) for one in list(found.marks)[:_MOST]),
        *(_group(one) for one in found.standing_out("coil")[:_MOST]),
        *instrument.suspended,
    )


def _strongest(changes: Sequence[ChangeRow]) -> list[ChangeRow]:
    """Changes over all lines and recipes, those of a part only for a flaw that did not change as a whole.

    The strongest, in order of time.
    """
    whole = [one for one in changes if one.line == one.recipe == ALL]
    told = {one.label for one in whole}
    parts = [one for one in changes if one.label not in told]
    strongest = sorted([*whole, *parts], key=_factor, reverse=True)[:_MOST]
    return sorted(strongest, key=lambda one: one.week)


def _factor(one: ChangeRow) -> float:
    low, high = sorted((one.before, one.after))
    return high / low if low > 0 else float("inf")


def _change(one: ChangeRow) -> str:
    where = ", ".join(
        f"{name} {value}" for name, value in (("line", one.line), ("recipe", one.recipe)) if value != ALL
    )
    verb = "rose" if one.after > one.before else "fell"
    return (
        f"{words(one.label).capitalize()}{f' ({where})' if where else ''} {verb} from {one.before:.2f} to "
        f"{one.after:.2f} per km in the week of {one.week} [{one.low}, {one.high}] "
        f"(labels as given, probability {one.probability:.2f})."
    )


def _mark(one: MarkRow) -> str:
    return (
        f"On line {one.line}, {one.seams} seams from {one.first} to {one.last} have an indication between "
        f"{one.from_mm:.0f} and {one.to_mm:.0f} mm {one.measured}, mostly {words(one.label)}; "
        f"{one.expected:.1f} were expected by chance."
    )


def _group(one: GroupRow) -> str:
    return (
        f"{one.by.capitalize()} {one.group} has {one.per_km:.1f} {words(one.label)} per km "
        f"[{one.low:.1f}, {one.high:.1f}] ({one.basis}, n = {one.flaws} on {one.seams} seams), unlike all "
        "others together."
    )


def news_of(decided: Decided) -> tuple[str, ...]:
    """Lines and recipes that were not welded from the start, or not to the end, of the decided seams."""
    seams = decided.seams
    day = seams.welded_at.astype("datetime64[D]")
    margin = np.timedelta64(_NEW_AFTER_DAYS, "D")
    told = []
    for column in ("line", "recipe"):
        groups = seams.group_by(column)
        for code, name in enumerate(groups.names):
            own = day[groups.codes == code]
            if own.min() > day.min() + margin:
                told.append(
                    f"{column.capitalize()} {name} is new: first welded {own.min()}, {len(own)} seams."
                )
            if own.max() < day.max() - margin:
                told.append(f"{column.capitalize()} {name} was last welded {own.max()}, {len(own)} seams.")
    return tuple(told)

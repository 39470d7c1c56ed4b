"""What the page of a year says, against what was planted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from plant.plant import Lived
from seamtell.data_synth.plant_year import YearTruth
from seamtell.features.contracts import Flaw
from seamtell.pipeline.counted_decisions import read_decided
from seamtell.pipeline.health.drift_state import Alarm, Stream
from seamtell.pipeline.process_page.view import (
    ALL,
    ChangeRow,
    GroupRow,
    HealthRow,
    MarkRow,
    ProcessView,
)
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["Event", "Inventions", "events_of", "inventions_of", "mix_against_truth"]

WITHIN_MM = 5.0
"""A cut at the peak of an indication finds what lies within this distance."""


@dataclass(frozen=True)
class Event:
    """One planted event: what was planted, what was found, and whether that is it."""

    name: str
    planted: str
    found: str
    is_found: bool


@dataclass(frozen=True)
class Inventions:
    """What was reported and not planted, each in words."""

    changes: tuple[str, ...]
    coils: tuple[str, ...]
    marks: tuple[str, ...]
    drift: tuple[str, ...]
    checks: tuple[str, ...]


def monday(start: date, day: int) -> date:
    """Monday of the week of a day of the year."""
    at = start + timedelta(days=day)
    return at - timedelta(days=at.weekday())


def events_of(lived: Lived, truth: YearTruth, start: date, coil: str) -> tuple[Event, ...]:
    """Look for every planted event; `coil` is the name of the bad one."""
    view = lived.view
    return (
        *_season(view, truth, start),
        _coil(view, truth, start, coil),
        _mark(view, truth, start),
        *_fading(lived, truth, start),
        _recipe(view, truth, start),
    )


def _season(view: ProcessView, truth: YearTruth, start: date) -> list[Event]:
    found = []
    for name, day, up in (
        ("summer begins", truth.summer_days[0], True),
        ("summer ends", truth.summer_days[1] + 1, False),
    ):
        week = monday(start, day)
        own = [one for one in _changes(view) if one.label == Flaw.PINHOLE and (one.after > one.before) == up]
        hit = [one for one in own if one.low <= week.isoformat() <= one.high]
        factor = truth.summer_factor if up else 1 / truth.summer_factor
        found.append(
            Event(
                name,
                f"pinhole x {factor:.2f} from {start + timedelta(days=day)} (week of {week})",
                _told([_change(one) for one in hit or own]),
                bool(hit),
            )
        )
    return found


def _changes(view: ProcessView) -> list[ChangeRow]:
    return [one for one in view.changes if one.line == one.recipe == ALL]


def _coil(view: ProcessView, truth: YearTruth, start: date, coil: str) -> Event:
    own = [one for one in _coils(view) if one.label == truth.coil.flaw]
    hit = [one for one in own if one.group == coil]
    day = start + timedelta(days=truth.coil.first_day)
    planted = (
        f"coil {coil} on {truth.coil.line}, {day}: {truth.coil.flaws_per_seam:g} lack of fusion a seam more"
    )
    return Event("bad coil", planted, _told([_group(one) for one in hit or own]), bool(hit))


def _coils(view: ProcessView) -> list[GroupRow]:
    return [one for one in view.groups if one.by == "coil" and (one.p_adjusted or 0.0) < 0.05]


def _is_planted(mark: MarkRow, truth: YearTruth, start: date) -> bool:
    first, last = (start + timedelta(days=day) for day in (truth.mark.first_day, truth.mark.last_day))
    overlaps = mark.first <= last.isoformat() and mark.last >= first.isoformat()
    return (
        mark.line == truth.mark.line
        and mark.measured == "from start"
        and mark.from_mm - 5 <= truth.mark.position_mm <= mark.to_mm + 5
        and overlaps
    )


def _mark(view: ProcessView, truth: YearTruth, start: date) -> Event:
    first, last = (start + timedelta(days=day) for day in (truth.mark.first_day, truth.mark.last_day))
    hit = [one for one in view.marks if _is_planted(one, truth, start)]
    planted = f"edge notch at {truth.mark.position_mm:g} mm on {truth.mark.line}, {first} to {last}"
    return Event("fixture mark", planted, _told([_words(one) for one in hit]), bool(hit))


def _fading(lived: Lived, truth: YearTruth, start: date) -> list[Event]:
    fading, line = truth.fading, truth.fading_line
    begins = start + timedelta(weeks=fading.from_week)
    mended = start + timedelta(weeks=fading.mended_in_week)
    planted = f"{line} loses {fading.loss_db:g} dB in {fading.weeks:g} weeks from {begins}, mended {mended}"
    days = [day for day, own, _ in _checks(lived.view) if own == line]
    warned = [day for day in days if begins.isoformat() <= day < mended.isoformat()]
    trend = [str(one["sentence"]) for one in lived.mended["trends"] if one["line"] == line]
    alarms = lived.mended["drift"].get(line, {}).get("alarms", [])
    due = [a for a in alarms if a["until"] > begins.isoformat() and a["level"] in ("review", "suspend")]
    return [
        Event(
            "fading head, reference checks",
            planted,
            f"warns from {min(warned, default='never')}; when mended: {_told(trend)}",
            bool(warned),
        ),
        Event(
            "fading head, production alone",
            planted,
            _told([f"{a['stream']} {a['level']} {a['since']} to {a['until']}" for a in due]),
            bool(due),
        ),
    ]


def _recipe(view: ProcessView, truth: YearTruth, start: date) -> Event:
    day = (start + timedelta(days=truth.new_recipe_day)).isoformat()
    own = [one for one in view.news if truth.new_recipe in one]
    planted = f"recipe {truth.new_recipe} from {day}"
    hit = [one for one in own if any(_near(word.strip(","), day) for word in one.split())]
    return Event("new recipe", planted, _told(own), bool(hit))


def _near(word: str, day: str) -> bool:
    try:
        return abs((date.fromisoformat(word) - date.fromisoformat(day)).days) <= 3
    except ValueError:
        return False


def inventions_of(lived: Lived, start: date, coil: str = "", truth: YearTruth | None = None) -> Inventions:
    """What no planted event explains; without `truth` nothing was planted.

    A change of a rate is explained when its interval holds the start or the end of an event, whatever the
    label: a classifier spreads every change over its answers.
    """
    edges = set() if truth is None else _edges(truth, start)
    view, fading = lived.view, None if truth is None else truth.fading_line
    changes = [one for one in view.changes if not any(one.low <= day <= one.high for day in edges)]
    marks = [one for one in view.marks if truth is None or not _is_planted(one, truth, start)]
    drifting = [
        f"{line}: {alarm.stream.value} {alarm.level.text} {alarm.since} to {alarm.until}"
        for line, own in lived.drift.lines.items()
        for alarm in own.alarms
        if alarm.level.text in ("review", "suspend") and not _explained(line, alarm, truth, start)
    ]
    checks = [f"{line} {day} {state}" for day, line, state in _checks(view) if line != fading]
    coils = [one for one in _coils(view) if one.group != coil and not _of_the_mark(one, truth, lived, start)]
    return Inventions(
        tuple(_change(one) for one in changes),
        tuple(_group(one) for one in coils),
        tuple(_words(one) for one in marks),
        tuple(drifting),
        tuple(checks),
    )


def _checks(view: ProcessView) -> list[tuple[str, str, str]]:
    """Day, line and state of every reference check that was not good, once a run."""
    bad = (row for row in view.health_rows if row.state != "good")
    return sorted({(day_of(row), row.line, row.state) for row in bad})


def day_of(row: HealthRow) -> str:
    """Day of a reference check."""
    return date.fromisoformat(row.at.split("T")[0]).isoformat()


def _explained(line: str, alarm: Alarm, truth: YearTruth | None, start: date) -> bool:
    """More indications of one kind, and other descriptors with them, are what the mark does to its line."""
    if truth is None or line != truth.mark.line:
        return False
    began = start + timedelta(days=truth.mark.first_day)
    return alarm.until > began and alarm.stream in (Stream.INDICATION_RATE, Stream.DESCRIPTORS)


def _of_the_mark(one: GroupRow, truth: YearTruth | None, lived: Lived, start: date) -> bool:
    """A coil of the line and the time of the mark, with the mark's flaw."""
    if truth is None or one.label != truth.mark.flaw:
        return False
    seams = SeamStore(Workspace(lived.decisions.parents[1]).traces_dir).metadata()
    own = seams[seams["coil"] == one.group]
    days = (own["welded_at"].dt.date - start).map(lambda gap: gap.days)
    return bool(
        ((own["line"] == truth.mark.line) & days.between(truth.mark.first_day, truth.mark.last_day)).any()
    )


def _edges(truth: YearTruth, start: date) -> set[str]:
    fading = truth.fading
    days = [
        truth.summer_days[0],
        truth.summer_days[1] + 1,
        truth.coil.first_day,
        truth.coil.last_day + 7,
        truth.mark.first_day,
        truth.mark.last_day + 1,
        truth.new_recipe_day,
        *(round(7 * week) for week in np.arange(fading.from_week, fading.mended_in_week + 1)),
    ]
    return {monday(start, day).isoformat() for day in days}


def mix_against_truth(lived: Lived, hidden: pd.DataFrame) -> pd.DataFrame:
    """Corrected and raw share of each flaw among the indications, with the truth, by period.

    Returns
    -------
    DataFrame
        ``period, label, n, truth, share, low, high, raw, raw_low, raw_high``; of choices that have all lines
        and recipes.
    """
    from statsmodels.stats.proportion import proportion_confint

    table = truth_of_indications(lived.decisions, hidden)
    lowest = lived.view.lowest_height_share
    months = table if lowest is None else table[(table["height_share"] >= lowest) | table["exceeds_limit"]]
    months = months[months["seam_id"].isin(_asked(lived))]
    rows = []
    for one in lived.view.mix:
        if one.line != ALL or one.recipe != ALL or one.label == "unclassified" or one.n == 0:
            continue
        own = months if one.period == ALL else months[months["month"] == one.period]
        raw_low, raw_high = proportion_confint(one.raw, one.n, 0.05, "beta")
        truth = float((own["truth"] == one.label).mean())
        rows.append(
            (
                one.period,
                one.label,
                one.n,
                truth,
                one.share,
                one.low,
                one.high,
                one.raw / one.n,
                raw_low,
                raw_high,
            )
        )
    columns = ["period", "label", "n", "truth", "share", "low", "high", "raw", "raw_low", "raw_high"]
    return pd.DataFrame(rows, columns=columns)


def _asked(lived: Lived) -> set[str]:
    """Seams on which the model was asked: the corrected mix is of these."""
    decided = read_decided(Workspace(lived.decisions.parents[1]), lived.decisions).of_asked()
    return set(decided.seams.metadata["seam_id"])


def truth_of_indications(decisions: Path, hidden: pd.DataFrame) -> pd.DataFrame:
    """What a cut at the peak of each indication would meet: the nearest flaw there, else sound metal.

    The sections of the shop are cut at peaks, and say what is there.
    """
    columns = ["seam_id", "peak_mm", "height_share", "exceeds_limit"]
    table = pd.read_parquet(decisions / "indications.parquet", columns=columns)
    metadata = SeamStore(Workspace(decisions.parents[1]).traces_dir).metadata()
    table["month"] = table["seam_id"].map(metadata.set_index("seam_id")["month"])
    table["row"] = np.arange(len(table))
    joined = table.merge(hidden[hidden["label"] != Flaw.SOUND.value], on="seam_id")
    away = np.maximum(joined["start_mm"] - joined["peak_mm"], joined["peak_mm"] - joined["end_mm"])
    length = joined["end_mm"] - joined["start_mm"]
    joined = joined.assign(away=away.clip(lower=0.0), shorter=-length)
    joined = joined[joined["away"] <= WITHIN_MM].sort_values(["away", "shorter"])
    nearest = joined.drop_duplicates("row").set_index("row")["label"]
    table["truth"] = nearest.reindex(table["row"]).fillna(Flaw.SOUND.value).to_numpy()
    return table


def _told(found: list[str]) -> str:
    return "; ".join(found) if found else "nothing"


def _change(one: ChangeRow) -> str:
    where = " ".join(value for value in (one.line, one.recipe) if value != ALL)
    return (
        f"{one.label} {where + ' ' if where else ''}{one.before:.0f} to {one.after:.0f} per km, week of "
        f"{one.week} [{one.low}, {one.high}]"
    )


def _group(one: GroupRow) -> str:
    return f"{one.group}: {one.flaws} {one.label} on {one.seams} seams, adjusted p {one.p_adjusted:.2g}"


def _words(one: MarkRow) -> str:
    return (
        f"{one.line} {one.from_mm:.0f}-{one.to_mm:.0f} mm {one.measured}, {one.first} to {one.last}, mostly "
        f"{one.label}: {one.seams} seams, {one.expected:.1f} expected, p {one.p:.4f}"
    )

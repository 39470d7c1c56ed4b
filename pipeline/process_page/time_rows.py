"""u-charts and changes of the rate by week, for the process page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.process_page.slices import Slice, WeekCounts
from seamtell.pipeline.process_page.view import ChangeRow, WeekRow
from seamtell.pipeline.production.change_points import ANY_CHANGE, change_points
from seamtell.pipeline.production.control_chart import MIN_BASELINE_PERIODS, ControlChart, control_chart
from seamtell.pipeline.production.decided import ANSWERS

__all__ = ["baseline_weeks_of", "change_rows", "week_rows"]


def baseline_weeks_of(weeks: int) -> int:
    """Weeks at the start that set the limits, unless the user says otherwise: a quarter, at least eight."""
    return max(MIN_BASELINE_PERIODS, weeks // 4)


def week_rows(by_week: Sequence[tuple[Slice, WeekCounts]], baseline_weeks: int) -> list[WeekRow]:
    """Every week of every flaw and choice, with the limits from its first weeks with production."""
    rows = []
    for own, counts in by_week:
        baseline = _baseline(counts, baseline_weeks)
        for place, label in enumerate(ANSWERS):
            chart = _chart(counts, place, baseline)
            rows += [_row(own, label, counts, place, k, baseline, chart) for k in range(len(counts.weeks))]
    return rows


def _baseline(counts: WeekCounts, baseline_weeks: int) -> NDArray[np.bool_]:
    inspected = counts.metres > 0
    return inspected & (np.cumsum(inspected) <= baseline_weeks)


def _chart(counts: WeekCounts, place: int, baseline: NDArray[np.bool_]) -> ControlChart | None:
    """None where the baseline sets no limits: too short, or without a flaw."""
    flaws = counts.answers[:, place]
    if baseline.sum() < MIN_BASELINE_PERIODS or flaws[baseline].sum() == 0:
        return None
    return control_chart(flaws, counts.metres, baseline)


def _row(
    own: Slice,
    label: str,
    counts: WeekCounts,
    place: int,
    k: int,
    baseline: NDArray[np.bool_],
    chart: ControlChart | None,
) -> WeekRow:
    metres, flaws = float(counts.metres[k]), int(counts.answers[k, place])
    inspected = metres > 0
    charted = chart if inspected else None
    return WeekRow(
        line=own.line,
        recipe=own.recipe,
        label=label,
        week=str(counts.weeks[k]),
        flaws=flaws,
        seams=int(counts.seams[k]),
        metres=metres,
        per_km=1000.0 * flaws / metres if inspected else None,
        low=None if charted is None else 1000.0 * float(charted.low_per_m[k]),
        high=None if charted is None else 1000.0 * float(charted.high_per_m[k]),
        centre=None if charted is None else 1000.0 * charted.centre_per_m,
        baseline=bool(baseline[k]),
        alarm=", ".join(rule.words for rule, alarms in charted.alarms.items() if alarms[k])
        if charted
        else "",
    )


def change_rows(by_week: Sequence[tuple[Slice, WeekCounts]], rng: np.random.Generator) -> list[ChangeRow]:
    """Changes of every flaw; the choices of a part share one chance that any of them changed at all."""
    rows = []
    parts = max(1, sum(not own.whole for own, _ in by_week))
    for own, counts in by_week:
        for place, label in enumerate(ANSWERS):
            prior = ANY_CHANGE if own.whole else ANY_CHANGE / parts
            rows += _changes(own, label, counts, place, prior, rng)
    return rows


def _changes(
    own: Slice, label: str, counts: WeekCounts, place: int, prior: float, rng: np.random.Generator
) -> list[ChangeRow]:
    # Weeks before the first and after the last production of a choice hold nothing that could change.
    inspected = np.flatnonzero(counts.metres > 0)
    span = slice(int(inspected[0]), int(inspected[-1]) + 1)
    flaws, metres = counts.answers[span, place], counts.metres[span]
    if flaws.sum() == 0:
        return []
    spread = control_chart(flaws, metres, metres > 0).spread
    found = change_points(flaws, metres, rng, dispersion=spread**2, any_change=prior)
    weeks = counts.weeks[span]
    return [
        ChangeRow(
            line=own.line,
            recipe=own.recipe,
            label=label,
            week=str(weeks[one.first]),
            low=str(weeks[one.low]),
            high=str(weeks[one.high]),
            probability=one.probability,
            before=1000.0 * one.before_per_m[0],
            after=1000.0 * one.after_per_m[0],
        )
        for one in found
    ]

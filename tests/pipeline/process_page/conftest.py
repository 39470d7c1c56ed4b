"""A process page of made-up rows: two lines, two recipes, a year; one flaw grows, one mark comes back."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from seamtell.pipeline.process_page.view import (
    ALL,
    ChangeRow,
    CoverRow,
    CutRow,
    EvenRow,
    GroupRow,
    HealthRow,
    HintRow,
    MarkRow,
    MixRow,
    PairRow,
    Period,
    PlaceRow,
    ProcessView,
    WeekRow,
)

LABELS = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")
LINES, RECIPES = ("L1", "L2"), ("MB-1513", "MB-1815")
MONTHS = tuple(f"2026-{month:02}" for month in range(1, 13))
WEEKS = tuple((date(2026, 1, 5) + timedelta(weeks=week)).isoformat() for week in range(52))
BINS = {"from start": 10.0, "from end": 10.0, "relative": 10.0}
PICTURE = '<svg viewBox="0 0 100 20"><path d="M0 10L100 10" stroke="currentColor"/></svg>'


def _mix(rng: np.random.Generator) -> list[MixRow]:
    rows = []
    for line in (ALL, *LINES):
        for recipe in (ALL, *RECIPES):
            for period in (ALL, *MONTHS):
                if (line, recipe, period) == ("L2", "MB-1815", "2026-01"):
                    continue  # nothing was welded
                shares = rng.dirichlet((8, 6, 4, 5, 3))
                n = int(rng.integers(60, 900))
                for label, share in zip(LABELS, shares, strict=True):
                    unknown = label == "mismatch" and period == "2026-02"
                    figures = (
                        (None,) * 7
                        if unknown
                        else (share, share * 0.8, share * 1.2, 3 * share, 2.4 * share, 3.6 * share, share / 2)
                    )
                    rows.append(
                        MixRow(
                            line,
                            recipe,
                            period,
                            label,
                            round(n * share),
                            n,
                            10 * n,
                            4200.0 * n / 100,
                            *figures,
                            note="3 more sections would settle it" if unknown else "",
                        )
                    )
    return rows


def _weeks(rng: np.random.Generator) -> list[WeekRow]:
    rows = []
    for line in (ALL, *LINES):
        for recipe in (ALL, *RECIPES):
            for label in LABELS:
                for k, week in enumerate(WEEKS):
                    rate = 2.0 + (1.5 if label == "pinhole" and 20 <= k < 36 else 0.0)
                    flaws = int(rng.poisson(rate * 3))
                    alarm = "beyond 3 sigma" if flaws > 15 else ""
                    rows.append(
                        WeekRow(
                            line,
                            recipe,
                            label,
                            week,
                            flaws,
                            300,
                            3000.0,
                            flaws / 3,
                            0.1,
                            4.6,
                            2.0,
                            k < 13,
                            alarm,
                        )
                    )
    return rows


@pytest.fixture(scope="session")
def view() -> ProcessView:
    rng = np.random.default_rng(4)
    bins = [float(x) for x in range(0, 600, 10)]
    places = [
        PlaceRow(measured, line, recipe, month, label, at, count)
        for measured in BINS
        for line in LINES
        for recipe in RECIPES
        for month in MONTHS
        for label in LABELS
        for at in bins
        if (count := int(rng.poisson(0.2 + (3.0 if at == 210 and label == "edge_notch" else 0.0))))
    ]
    cover = [
        CoverRow(measured, line, recipe, month, at, 30.0)
        for measured in BINS
        for line in LINES
        for recipe in RECIPES
        for month in MONTHS
        for at in bins
    ]
    return ProcessView(
        shop="Marram Bay Carriage Works",
        made_at="2026-11-26 08:00 UTC",
        decided_at="2026-11-26 07:00 UTC",
        model="model m-0001",
        first_day="2026-01-05",
        last_day="2026-12-31",
        seams=15_600,
        metres=6_900.0,
        indications=1_800,
        level=0.95,
        bins=BINS,
        answer=("Pinhole is most likely the largest (probability 0.98): 31 % [27 %, 35 %] of n = 1800.",),
        lines=LINES,
        recipes=RECIPES,
        periods=(
            Period(ALL, "the whole time", MONTHS),
            *(Period(month, month, (month,)) for month in MONTHS),
        ),
        labels=LABELS,
        warnings=("the approval of the model ends on 2026-12-31",),
        mix=tuple(_mix(rng)),
        pairs=(PairRow(ALL, ALL, "pinhole", "2026-01", "2026-12", 2.0, 1.6, 2.5),),
        weeks=tuple(_weeks(rng)),
        changes=(ChangeRow(ALL, ALL, "pinhole", WEEKS[20], WEEKS[19], WEEKS[21], 0.99, 2.0, 3.5),),
        places=tuple(places),
        cover=tuple(cover),
        marks=(
            MarkRow(
                "L2",
                "edge_notch",
                measured="from start",
                from_mm=205.0,
                to_mm=220.0,
                first="2026-09-01",
                last="2026-10-10",
                seams=41,
                expected=3.2,
                p=0.005,
                example="S-17",
            ),
        ),
        groups=tuple(
            GroupRow(
                by,
                f"{by} {k}",
                label,
                20 - k,
                400,
                5.0 - k / 3,
                4.0 - k / 3,
                6.0 - k / 3,
                0.001 if k == 0 else 1.0,
            )
            for by in ("line", "coil")
            for label in LABELS
            for k in range(9)
        ),
        health_rows=tuple(
            HealthRow(line, f"{week}T05:00Z", channel, float(rng.normal(0, 0.5)), "good")
            for line in LINES
            for week in WEEKS
            for channel in ("specular", "scatter")
        ),
        health="Every reference check of the last 8 weeks was within 2 dB.",
        drift=("Noise of scatter on line L1: note, since 2026-08-03.",),
        cuts=(
            CutRow(1, "S-17", 212.5, "edge_notch", "ambiguous: edge notch or pinhole"),
            CutRow(2, "S<b>18", 80.0, "unclassified", "novel"),
        ),
        cuts_note="20 cuts planned: 4 at random, 16 by value.",
        hints=(HintRow("pinhole", "shielding gas", "flow, nozzle, drafts", "more since 2026-05"),),
        news=("Recipe MB-1815 is new: first welded 2026-02-02, 900 seams.",),
        baseline_weeks=13,
        weeks_to_false_alarm=92.0,
        trends=("Line L1, specular: no trend.",),
        even=tuple(EvenRow(measured, label, 200, 0.4) for measured in BINS for label in LABELS),
        pictures={"S-17": PICTURE, "S<b>18": PICTURE},
    )

"""Rows of the process page from made-up decisions with planted events, against scipy and pandas."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.process_page.answer import news_of
from seamtell.pipeline.process_page.found import Found
from seamtell.pipeline.process_page.group_rows import columns_to_compare, raw_group_rows
from seamtell.pipeline.process_page.hints import hint_rows
from seamtell.pipeline.process_page.mark_rows import mark_rows
from seamtell.pipeline.process_page.place_rows import (
    along_seams,
    cover_rows,
    even_rows,
    filters_of,
    place_rows,
)
from seamtell.pipeline.process_page.slices import (
    Slice,
    WeekCounts,
    periods_of,
    slices_of,
    week_counts,
)
from seamtell.pipeline.process_page.time_rows import change_rows, week_rows
from seamtell.pipeline.process_page.view import ALL, MarkRow
from seamtell.pipeline.production.causes import CauseHint
from seamtell.pipeline.production.decided import ANSWERS, DecidedIndications, DecidedSeams

N, WEEKS = 4000, 50
START = np.datetime64("2026-01-05", "s")
PINHOLE, NOTCH, FUSION = (ANSWERS.index(name) for name in ("pinhole", "edge_notch", "lack_of_fusion"))
Make = Callable[..., Decided]


@pytest.fixture(scope="module")
def make(bare_record: Callable[..., DecisionRecord]) -> Make:
    """Seams of two lines over fifty weeks; what is asked for happens, and nothing else."""

    def made(
        seed: int = 1, *, rise: float = 1.0, coil: int = 0, mark: float = 0.0, new: bool = False
    ) -> Decided:
        rng = np.random.default_rng(seed)
        week = np.arange(N) * WEEKS // N
        at = START + np.arange(N) * np.timedelta64(WEEKS * 7 * 86_400 // N, "s")
        line = rng.choice(["L1", "L2"], N)
        recipe = np.where(new & (week >= 30) & (rng.random(N) < 0.4), "R2", "R1")
        metadata = pd.DataFrame(
            {
                "seam_id": [f"S{i:05d}" for i in range(N)],
                "line": line,
                "recipe": recipe,
                "coil": [f"C{i // 20:03d}" for i in range(N)],
                "shift": rng.choice(["early", "late"], N),
                "month": pd.Series(at).dt.strftime("%Y-%m"),
                "operator": rng.choice(["A", "B", "C"], N),
                "thickness_pair": "1.5/1.3",
            }
        )
        length = rng.uniform(300.0, 600.0, N)
        seams = DecidedSeams(
            metadata, at, np.zeros(N), length, np.full(N, 10.0), length - 10.0, np.ones(N, bool)
        )
        metadata["week"] = seams.weeks.astype(str)
        rate = np.full((N, len(ANSWERS)), 0.05)
        rate[week >= 25, PINHOLE] *= rise
        if coil:
            rate[metadata["coil"] == "C100", FUSION] += coil / 20
        counts = rng.poisson(rate)
        seam, answer = np.repeat(np.indices(counts.shape).reshape(2, -1), counts.ravel(), axis=1)
        peak = rng.uniform(10.0, length[seam] - 10.0)
        marked = np.flatnonzero((line == "L2") & (week >= 20) & (week < 26) & (rng.random(N) < mark))
        seam, answer = np.append(seam, marked), np.append(answer, np.full(len(marked), NOTCH))
        peak = np.append(peak, rng.normal(212.0, 1.5, len(marked)))
        indications = DecidedIndications(
            seam.astype(np.int32),
            answer.astype(np.int8),
            np.zeros(len(seam), bool),
            np.full(len(seam), 0.5, np.float32),
            peak.astype(np.float32),
            np.zeros(len(seam), bool),
        )
        record = bare_record(datetime(2027, 1, 1, tzinfo=UTC), seams=N, indications=len(seam), digest="d")
        return Decided(Path("decisions"), record, seams, indications)

    return made


@pytest.fixture(scope="module")
def quiet(make: Make) -> Decided:
    return make()


@pytest.fixture(scope="module")
def eventful(make: Make) -> Decided:
    return make(rise=2.2, coil=30, mark=0.3)


@pytest.fixture(scope="module")
def marks(eventful: Decided) -> list[MarkRow]:
    return mark_rows(eventful, rng())


def by_week(decided: Decided) -> list[tuple[Slice, WeekCounts]]:
    return [(own, week_counts(decided, own)) for own in slices_of(decided)]


def rng() -> np.random.Generator:
    return np.random.default_rng(9)


def test_weeks_count_as_pandas_counts_them(quiet: Decided) -> None:
    slices = slices_of(quiet)
    one = next(own for own in slices if own.line == "L2")
    counts = week_counts(quiet, one)
    seams = quiet.seams.metadata.assign(metres=quiet.seams.metres)
    own = seams[seams["line"] == "L2"]
    assert counts.seams.tolist() == own.groupby("week").size().tolist()
    assert counts.metres == pytest.approx(own.groupby("week")["metres"].sum().to_numpy())
    labels = pd.DataFrame({"seam": quiet.indications.seam, "answer": quiet.indications.answer})
    joined = labels.join(seams[["line", "week"]], on="seam")
    joined = joined[joined["line"] == "L2"]
    expected = pd.crosstab(joined["week"], joined["answer"])
    assert counts.answers.tolist() == expected.to_numpy().tolist()


def test_a_rise_is_found_with_its_week_and_its_rates(make: Make) -> None:
    decided = make(rise=2.2)
    found = change_rows(by_week(decided), rng())
    whole = [one for one in found if one.line == one.recipe == ALL]
    assert [one.label for one in whole] == ["pinhole"]
    week = "2026-06-29"
    assert whole[0].low <= week <= whole[0].high
    assert whole[0].after / whole[0].before == pytest.approx(2.2, rel=0.25)
    assert {one.label for one in found} == {"pinhole"}


def test_in_quiet_times_nothing_is_reported_more_often_than_stated(make: Make) -> None:
    # prior of any change 0.1, reported at 0.95: by Markov at most 0.006 a label for the whole, less for parts
    reported = 0
    for seed in range(10, 18):
        decided = make(seed)
        reported += len(change_rows(by_week(decided), rng()))
    assert reported <= 1


def test_limits_come_from_the_first_weeks_of_each_choice_only(make: Make) -> None:
    decided = make(rise=3.0, new=True)
    rows = week_rows(by_week(decided), 10)
    old = [r for r in rows if (r.line, r.recipe, r.label) == (ALL, ALL, "pinhole")]
    assert [r.baseline for r in old] == [True] * 10 + [False] * 40
    assert sum(bool(r.alarm) for r in old[25:]) > 15
    late = [r for r in rows if (r.line, r.recipe, r.label) == (ALL, "R2", "pinhole")]
    assert [k for k, r in enumerate(late) if r.baseline] == list(range(30, 40))
    assert all(r.low is None and r.per_km is None for r in late[:30])


def test_a_mark_is_found_on_its_line_at_its_place_in_its_time(marks: list[MarkRow], quiet: Decided) -> None:
    assert marks
    best = marks[0]
    assert (best.line, best.label, best.measured) == ("L2", "edge_notch", "from start")
    assert best.from_mm <= 212.0 <= best.to_mm
    assert best.to_mm - best.from_mm <= 30.0
    # to two blocks of time, each a fortieth of the year
    assert abs(np.datetime64(best.first) - np.datetime64("2026-05-25")) <= np.timedelta64(20, "D")
    assert abs(np.datetime64(best.last) - np.datetime64("2026-07-05")) <= np.timedelta64(20, "D")
    assert all(one.line == "L2" for one in marks)
    assert mark_rows(quiet, rng()) == []


def test_what_lies_evenly_is_called_even_in_every_measure_and_a_mark_is_not(make: Make) -> None:
    quiet, marked = make(3), make(3, mark=0.8)
    for decided, even in ((quiet, True), (marked, False)):
        rows = [row for along in along_seams(decided) for row in even_rows(decided, along, rng())]
        p = {(row.measured, row.label): row.p for row in rows}
        assert (p["from start", "edge_notch"] > 0.01) is even
        assert min(p[way, "pinhole"] for way in ("from start", "from end", "relative")) > 0.01


def test_places_add_up_to_the_indications_and_cover_to_the_inspected_metres(quiet: Decided) -> None:
    for along in along_seams(quiet):
        assert sum(row.count for row in place_rows(quiet, along, filters_of(quiet))) == along.inside.sum()
        cover = sum(row.metres for row in cover_rows(along, filters_of(quiet)))
        assert cover == pytest.approx(quiet.seams.metres.sum(), rel=1e-6)


def test_a_bad_coil_stands_out_by_the_binomial_test_of_scipy(make: Make) -> None:
    decided = make(coil=30)
    rows = raw_group_rows(decided, "coil", decided.seams.coils())
    standing = [row for row in rows if row.p_adjusted is not None and row.p_adjusted < 0.05]
    assert [(row.group, row.label) for row in standing] == [("C100", "lack_of_fusion")]
    (bad,) = standing
    own = (decided.seams.metadata["coil"] == "C100").to_numpy()
    total = int((decided.indications.answer == FUSION).sum())
    part = decided.seams.metres[own].sum() / decided.seams.metres.sum()
    tests = len(decided.seams.coils().names) * len(ANSWERS)
    upper = stats.binomtest(bad.flaws, total, part, "greater").pvalue
    assert bad.p_adjusted == pytest.approx(min(1.0, 2 * upper * tests), rel=1e-6)
    example = decided.seams.metadata.set_index("seam_id").loc[bad.example]
    assert example["coil"] == "C100"


def test_columns_with_one_value_or_too_many_are_not_compared(quiet: Decided) -> None:
    assert columns_to_compare(quiet.seams) == ("line", "shift", "operator")


def test_a_recipe_that_came_later_is_news_and_one_from_the_start_is_not(make: Make, quiet: Decided) -> None:
    (news,) = news_of(make(new=True))
    assert news.startswith("Recipe R2 is new: first welded 2026-08-0")
    assert news_of(quiet) == ()


def test_several_months_are_periods_of_their_own(quiet: Decided) -> None:
    periods = periods_of(quiet)
    assert periods[0].key == ALL
    assert len(periods) == 1 + 12
    assert set(periods[0].months) == {period.key for period in periods[1:]}


def hint(flaw: str, when: str) -> CauseHint:
    return CauseHint(flaw=flaw, cause=f"{when}?", look="there", when=when, source="common practice")


def test_hints_are_given_where_their_pattern_is_shown_and_nowhere_else(
    eventful: Decided, marks: list[MarkRow]
) -> None:
    found = Found(
        change_rows(by_week(eventful), rng()),
        marks,
        [row for along in along_seams(eventful) for row in even_rows(eventful, along, rng())],
        raw_group_rows(eventful, "coil", eventful.seams.coils()),
        0.95,
    )
    hints = [
        hint("sound", "always"),
        hint("pinhole", "since a date"),
        hint("mismatch", "since a date"),
        hint("lack_of_fusion", "one coil"),
        hint("pinhole", "one coil"),
        hint("edge_notch", "repeats at one position"),
        hint("mismatch", "repeats at one position"),
        hint("mismatch", "near the ends"),
    ]
    shown = hint_rows(hints, found)
    assert [(row.label, row.cause) for row in shown] == [
        ("pinhole", "since a date?"),
        ("lack_of_fusion", "one coil?"),
        ("edge_notch", "repeats at one position?"),
        ("sound", "always?"),
    ]
    assert shown[1].speaks_for_it == "coil C100"
    assert shown[2].speaks_for_it.startswith("line L2, 2")

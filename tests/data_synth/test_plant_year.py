"""The invented year: what is planted is there, and nothing else."""

from __future__ import annotations

from collections import Counter
from math import log10

import numpy as np
import pytest
from scipy import stats

from seamtell.data_synth.plant_year import YEAR_DAYS, eventful_year, quiet_year
from seamtell.data_synth.reference_blank import reference_runs
from seamtell.data_synth.seam_plan import SeamPlan, plan_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Channel, Flaw

N_SEAMS = 6_000


def planned(plan: ShopPlan) -> list[SeamPlan]:
    return [plan_seam(plan, 3, index, N_SEAMS) for index in range(N_SEAMS)]


@pytest.fixture(scope="module")
def quiet() -> list[SeamPlan]:
    return planned(quiet_year())


@pytest.fixture(scope="module")
def eventful() -> list[SeamPlan]:
    return planned(eventful_year()[0])


def day(seam: SeamPlan) -> int:
    return round(seam.weeks * 7)


def count(seams: list[SeamPlan], label: Flaw) -> int:
    return sum(flaw.label is label for seam in seams for flaw in seam.flaws)


def test_in_the_quiet_year_flaws_come_evenly(quiet: list[SeamPlan]) -> None:
    # scipy.stats.chisquare is the outside reference for "evenly"; one seed, so the bound is low
    for label in (Flaw.PINHOLE, Flaw.EDGE_NOTCH, Flaw.LACK_OF_FUSION, Flaw.MISMATCH):
        months = Counter(seam.month for seam in quiet for flaw in seam.flaws if flaw.label is label)
        seams = Counter(seam.month for seam in quiet)
        expected = np.array([seams[m] for m in range(12)]) / len(quiet) * months.total()
        assert stats.chisquare([months[m] for m in range(12)], expected).pvalue > 1e-4


def test_summer_has_more_pinholes_and_nothing_else_more(
    quiet: list[SeamPlan], eventful: list[SeamPlan]
) -> None:
    _, truth = eventful_year()
    first, last = truth.summer_days
    summer = [seam for seam in eventful if first <= day(seam) <= last]
    calm = [seam for seam in quiet if first <= day(seam) <= last]
    ratio = count(summer, Flaw.PINHOLE) / count(calm, Flaw.PINHOLE)
    assert 1.7 < ratio < 2.8
    assert 0.8 < count(summer, Flaw.MISMATCH) / count(calm, Flaw.MISMATCH) < 1.25


def test_one_coil_is_bad(eventful: list[SeamPlan]) -> None:
    coils = Counter(seam.coil for seam in eventful)
    bad = Counter(seam.coil for seam in eventful for flaw in seam.flaws if flaw.label is Flaw.LACK_OF_FUSION)
    worst, flaws = max(bad.items(), key=lambda item: item[1])
    _, truth = eventful_year()
    struck = {seam.coil for seam in eventful if truth.coil.met_by(seam.line.name, day(seam), seam.shift)}
    assert struck == {worst}
    assert flaws > 0.5 * coils[worst]


def test_the_fixture_marks_one_place(eventful: list[SeamPlan]) -> None:
    _, truth = eventful_year()
    mark = truth.mark
    seams = [seam for seam in eventful if mark.met_by(seam.line.name, day(seam))]
    at = [
        abs((flaw.start_mm + flaw.end_mm) / 2 - mark.position_mm) < 6
        for seam in seams
        for flaw in seam.flaws
        if flaw.label is mark.flaw
    ]
    assert 0.25 < sum(at) / len(seams) < 0.45


def test_the_new_recipe_starts_on_its_day(eventful: list[SeamPlan]) -> None:
    _, truth = eventful_year()
    days = [day(seam) for seam in eventful if seam.recipe.name == truth.new_recipe]
    assert truth.new_recipe_day <= min(days) < truth.new_recipe_day + 14


def test_the_blank_shows_the_loss_of_the_fading_head_and_of_no_other() -> None:
    plan, truth = eventful_year()
    heights: dict[str, list[tuple[float, float]]] = {}
    for run in reference_runs(plan, 3, runs_per_line=182):
        week = (run.welded_at - plan.start).days / 7
        trace = run.amplitudes_pct[Channel.SPECULAR.value]
        middle = np.abs(np.arange(len(trace)) * run.pitch_mm - 285.0) < 15  # the long notch of the blank
        heights.setdefault(run.line, []).append((week, float(trace[middle].max())))
    for line, runs in heights.items():
        before = np.median([height for week, height in runs if week < truth.fading.from_week])
        low = np.median([height for week, height in runs if 34.9 < week < truth.fading.mended_in_week])
        after = np.median([height for week, height in runs if week > truth.fading.mended_in_week])
        loss = 20 * log10(before / low)
        assert abs(loss - (3.0 if line == truth.fading_line else 0.0)) < 0.9
        assert abs(20 * log10(after / before)) < 0.4


def test_a_year_without_events_is_the_shop_without_them() -> None:
    plan, _ = eventful_year()
    assert plan.days == YEAR_DAYS == 364
    assert not quiet_year().incidents
    assert plan.months == quiet_year().months == 12

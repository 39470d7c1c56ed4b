from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from seamtell.data_synth.reference_blank import (
    RUNS_PER_LINE,
    blank_text,
    physics_text,
    reference_runs,
    weekly_checks,
)
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, SeamTrace


@pytest.fixture(scope="module")
def runs() -> list[SeamTrace]:
    return list(reference_runs(ShopPlan(), 3))


def test_every_line_runs_the_blank_a_few_times_in_both_halves_of_the_shops_life(runs):
    plan = ShopPlan()
    for line in plan.lines:
        own = [run for run in runs if run.line == line.name]
        assert len(own) == RUNS_PER_LINE
        weeks = [(run.welded_at - plan.start).days / 7 for run in own]
        assert weeks == sorted(weeks)
        assert weeks[0] < line.head_changed_in_week < weeks[-1]


def test_the_same_seed_gives_the_same_runs_and_another_seed_others(runs):
    again, other = list(reference_runs(ShopPlan(), 3)), list(reference_runs(ShopPlan(), 4))
    for name in CHANNELS:
        assert all(
            np.array_equal(a.amplitudes_pct[name], b.amplitudes_pct[name])
            for a, b in zip(runs, again, strict=True)
        )
        assert not np.array_equal(runs[0].amplitudes_pct[name], other[0].amplitudes_pct[name])


def test_every_line_is_checked_every_week_with_runs_of_their_own(runs):
    plan = ShopPlan()
    checks = list(weekly_checks(plan, 3))
    for line in plan.lines:
        days = [(run.welded_at - plan.start).days for run in checks if run.line == line.name]
        assert days == list(range(0, plan.days, 7))
    same_week = next(run for run in checks if run.line == "L1" and run.welded_at >= runs[1].welded_at)
    assert not np.array_equal(same_week.amplitudes_pct["scatter"], runs[1].amplitudes_pct["scatter"])
    assert not {run.seam_id for run in checks} & {run.seam_id for run in runs}


def test_every_machined_flaw_stands_out_where_the_drawing_has_it(runs):
    drawn = tomllib.loads(blank_text(ShopPlan()))["flaw"]
    assert len(drawn) == 5
    for run in runs:
        scatter = run.amplitudes_pct["scatter"]
        x = run.positions_mm()
        quiet = np.median(scatter[(x > 20) & (x < x[-1] - 20)])
        for flaw in drawn:
            near = np.abs(x - flaw["position_mm"]) < flaw.get("length_mm", 0.0) / 2 + 8
            assert scatter[near].max() > 4 * quiet


def test_a_run_is_of_no_recipe_that_is_welded(runs):
    assert {run.recipe for run in runs}.isdisjoint(recipe.name for recipe in ShopPlan().recipes)


def test_what_the_shop_knows_of_its_heads_is_not_what_it_is_simulated_with():
    plan = ShopPlan()
    known = tomllib.loads(physics_text(plan))["head"]["default"]
    for line in plan.lines:
        for head in (line.head, line.new_head):
            assert head is not None
            assert known["aperture_sd_mm"] != head.aperture_sd_mm
            assert known["aperture_sd_mm"] == pytest.approx(head.aperture_sd_mm, rel=0.1)


def test_the_file_names_every_recipe_of_a_plan():
    plan = replace(ShopPlan(), recipes=ShopPlan().recipes[:2])
    assert set(tomllib.loads(physics_text(plan))["recipe"]) == {"MB-1513", "MB-1815"}

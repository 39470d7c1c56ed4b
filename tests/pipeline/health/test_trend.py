from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from scipy.stats import theilslopes

from seamtell.features.contracts import Channel
from seamtell.pipeline.health.check_record import CheckedFlaw, CheckEntry
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.health.trend import LEAST_CHECKS, trends

from .conftest import START


def checks(days, levels_db, *, head: str = "", lost: tuple[int, ...] = ()) -> list[CheckEntry]:
    made = []
    for i, (day, level) in enumerate(zip(days, levels_db, strict=True)):
        flaw = CheckedFlaw(
            name="hole",
            expected_mm=40.0,
            offset_mm=None if i in lost else 0.0,
            peak_pct={},
            deviation_db={c: -60.0 if i in lost else float(level) for c in Channel},
            level=Level.GOOD,
        )
        at = START + timedelta(days=float(day))
        made.append(
            CheckEntry(
                run_id=f"R{i}", run_at=at, checked_at=at, line="L1", head=head, blank="REF",
                blank_digest="", warn_db=2.0, stop_db=4.0, tolerance_mm=2.0, flaws=(flaw,), level=Level.GOOD,
            )
        )  # fmt: skip
    return made


def test_the_slope_and_its_interval_are_those_of_theil_and_sen() -> None:
    """Against `scipy.stats.theilslopes` on the times in days."""
    rng = np.random.default_rng(3)
    days = np.sort(rng.uniform(0, 50, 25))
    level = -0.05 * days + rng.normal(0, 0.3, 25)
    told = trends(checks(days, level))[0]
    theirs = theilslopes(level, days, alpha=0.95)
    assert told.slope_db_per_week == pytest.approx(7 * theirs.slope)
    assert (told.slope_low, told.slope_high) == pytest.approx((7 * theirs.low_slope, 7 * theirs.high_slope))


def test_a_straight_loss_of_half_a_decibel_a_week_from_minus_two_leaves_four_in_four_weeks() -> None:
    days = np.arange(0, 29, 2)
    told = trends(checks(days, -0.5 * days / 7))[0]
    assert told.last_db == pytest.approx(-2.0)
    assert told.forecast is not None
    assert (told.forecast.days, told.forecast.low_days, told.forecast.high_days) == pytest.approx((28,) * 3)
    assert "in 28 [28, 28] days" in told.sentence


def test_too_few_checks_show_no_trend() -> None:
    told = trends(checks(range(LEAST_CHECKS - 1), np.linspace(0, -3, LEAST_CHECKS - 1)))[0]
    assert (told.slope_db_per_week, told.forecast) == (None, None)
    assert f"{LEAST_CHECKS} are needed" in told.sentence


def test_a_slope_that_may_be_either_way_gives_no_forecast() -> None:
    told = trends(checks(range(20), np.random.default_rng(1).normal(0, 0.4, 20)))[0]
    assert told.slope_db_per_week is not None
    assert told.forecast is None


def test_a_new_head_begins_a_new_trend_and_a_missing_flaw_is_no_wear() -> None:
    old, new = (
        checks(range(10), np.linspace(0, -3, 10), head="A"),
        checks(range(10, 20), np.zeros(10), head="B"),
    )
    told = trends([*old, *new])[0]
    assert (told.head, told.n) == ("B", 10)
    assert trends(checks(range(10), np.zeros(10), lost=(4,)))[0].n == 9


@pytest.mark.coverage
def test_the_forecast_covers_the_day_on_which_the_tolerance_is_left() -> None:
    """Simulated heads with a known loss: the interval holds the day in about 95 % of them."""
    rng = np.random.default_rng(7)
    days, held, n = np.arange(0, 42, 1.0), 0, 300
    for _ in range(n):
        level = -3.0 * days / 42 + rng.normal(0, 0.25, len(days))
        forecast = trends(checks(days, level))[0].forecast
        truth = (4.0 - 3.0 * days[-1] / 42) / (3.0 / 42)
        held += forecast is not None and forecast.low_days <= truth <= forecast.high_days
    assert 0.90 <= held / n <= 0.99


def test_wear_that_begins_after_a_quiet_year_is_seen() -> None:
    days = np.arange(0, 364, 3.5)
    level = np.where(days > 320, -0.5 * (days - 320) / 7, 0.0)
    told = trends(checks(days, level))[0]
    assert told.n == 17
    assert told.forecast is not None
    assert told.forecast.low_days <= (4.0 + level[-1]) / (0.5 / 7) <= told.forecast.high_days

"""Strata as words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from seamtell.pipeline.acceptance.stratum_values import periods, speed_bins, thickness_pairs


def test_the_order_of_the_two_sheets_does_not_matter() -> None:
    assert thickness_pairs(np.array([1.5]), np.array([1.2])) == thickness_pairs(
        np.array([1.2]), np.array([1.5])
    )


def test_many_speeds_are_parted_into_quarters_of_the_sections() -> None:
    # pandas.qcut as outside reference.
    speeds = np.random.default_rng(1).uniform(4.0, 9.0, size=200)
    words = speed_bins(speeds)
    by_pandas = pd.qcut(speeds, 4, labels=False)
    assert len(set(zip(words.tolist(), by_pandas.tolist(), strict=True))) == 4


def test_a_speed_that_most_seams_have_does_not_break_the_quarters() -> None:
    words = speed_bins(np.array([6.0] * 90 + [5.0, 5.5, 6.5, 7.0, 7.5]))
    assert len(set(words.tolist())) >= 2
    assert "" not in words


def test_what_is_not_known_is_no_stratum() -> None:
    nan = np.array([np.nan])
    assert speed_bins(nan).tolist() == [""]
    assert thickness_pairs(nan, np.array([1.0])).tolist() == [""]
    assert periods(pd.Series(pd.to_datetime([None], utc=True))).tolist() == [""]


def test_a_month_is_that_of_utc() -> None:
    times = pd.Series(pd.to_datetime(["2026-03-31T23:30:00-02:00"], utc=True))
    assert periods(times).tolist() == ["2026-04"]

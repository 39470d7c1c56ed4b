"""Intervals of a share against statsmodels and published figures."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.evaluation.intervals import clopper_pearson, share, unknown, wilson

COUNTS = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
LEVELS = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99])


@settings(max_examples=150, deadline=None)
@given(COUNTS, LEVELS)
def test_clopper_pearson_is_that_of_statsmodels(counts: tuple[int, int], level: float) -> None:
    # Outside reference: statsmodels proportion_confint(method="beta").
    expected = proportion_confint(*counts, alpha=1 - level, method="beta")
    assert clopper_pearson(*counts, level) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(COUNTS, LEVELS)
def test_wilson_is_that_of_statsmodels(counts: tuple[int, int], level: float) -> None:
    # Outside reference: statsmodels proportion_confint(method="wilson").
    expected = proportion_confint(*counts, alpha=1 - level, method="wilson")
    assert wilson(*counts, level) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("k", "n"), [(29, 29), (45, 46), (59, 61)])
def test_the_classic_samples_demonstrate_ninety_percent_at_ninety_five(k: int, n: int) -> None:
    # Published in MIL-HDBK-1823A (from memory): 29/29, 45/46 and 59/61 show 90 % with 95 % confidence,
    # which is the low end of the two-sided 90 % interval; one section fewer does not.
    assert clopper_pearson(k, n, 0.90)[0] >= 0.90
    assert clopper_pearson(k - 1, n - 1, 0.90)[0] < 0.90


@given(COUNTS)
def test_no_interval_has_zero_width(counts: tuple[int, int]) -> None:
    for low, high in (clopper_pearson(*counts), wilson(*counts)):
        assert high - low > 0


@given(COUNTS)
def test_the_interval_holds_the_share_and_stays_within_zero_and_one(counts: tuple[int, int]) -> None:
    k, n = counts
    for low, high in (clopper_pearson(k, n), wilson(k, n)):
        assert 0.0 <= low <= k / n <= high <= 1.0


@pytest.mark.parametrize(("k", "n"), [(-1, 5), (6, 5), (0, 0)])
def test_impossible_counts_are_an_error(k: int, n: int) -> None:
    with pytest.raises(ValueError, match="expected 0 <= k <= n"):
        clopper_pearson(k, n)


def test_an_impossible_level_is_an_error() -> None:
    with pytest.raises(ValueError, match=r"level 1\.0"):
        wilson(1, 2, 1.0)


def test_a_share_of_nothing_is_unknown_and_not_zero() -> None:
    figure = share(0, 0, unknown_because="nothing unflagged was cut")
    assert figure.estimate is None
    assert str(figure) == "unknown (nothing unflagged was cut)"


def test_a_share_keeps_its_count_so_that_any_level_can_be_recomputed() -> None:
    figure = share(9, 10, level=0.9)
    assert (figure.count, figure.n, figure.level) == (9, 10, 0.9)
    assert (figure.low, figure.high) == clopper_pearson(9, 10, 0.9)


def test_an_unknown_figure_has_no_numbers() -> None:
    assert unknown("why").model_dump()["low"] is None

"""The expanded bootstrap against scipy and the closed form of the mean."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap, norm, t

from seamtell.pipeline.acceptance.small_sample import expanded_bootstrap, expanded_level
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, grouped_bootstrap
from seamtell.pipeline.evaluation.intervals import clopper_pearson


def _mean(sums: np.ndarray) -> np.ndarray:
    return sums[:, 0] / sums[:, 1]


def _with_counts(values: np.ndarray) -> np.ndarray:
    return np.column_stack([values, np.ones(len(values))])


@pytest.mark.parametrize("groups", [5, 20, 100])
def test_the_expanded_reach_is_that_of_student_and_of_the_unbiased_variance(groups: int) -> None:
    # Closed form: draws of a mean have the standard error s_n / sqrt(g), with divisor g; the
    # t interval is t * s_(g-1) / sqrt(g). scipy.stats.t and norm give the two quantiles.
    reach = norm.ppf(0.5 + expanded_level(0.95, groups) / 2)
    assert reach == pytest.approx(t.ppf(0.975, groups - 1) * np.sqrt(groups / (groups - 1)), rel=1e-9)


def test_without_groups_it_is_the_bca_interval_of_scipy_at_the_expanded_level() -> None:
    # Outside reference: scipy.stats.bootstrap(method="BCa"), 20,000 draws each.
    values = np.random.default_rng(3).exponential(size=25)
    ours = expanded_bootstrap(_with_counts(values), _mean, Plan(draws=20_000), n=25)
    level = expanded_level(0.95, 25)
    theirs = bootstrap((values,), np.mean, n_resamples=20_000, confidence_level=level, method="BCa", rng=1)
    low, high = theirs.confidence_interval
    assert ours.low == pytest.approx(low, abs=0.05 * (high - low))
    assert ours.high == pytest.approx(high, abs=0.05 * (high - low))
    assert ours.level == 0.95
    assert "expanded" in ours.method


def test_the_interval_of_a_normal_mean_is_students_interval() -> None:
    # scipy.stats.t.interval; the skew of a drawn sample moves BCa a little.
    values = np.random.default_rng(8).normal(size=12)
    ours = expanded_bootstrap(_with_counts(values), _mean, Plan(draws=20_000), n=12)
    low, high = t.interval(0.95, 11, values.mean(), values.std(ddof=1) / np.sqrt(12))
    assert ours.high - ours.low == pytest.approx(high - low, rel=0.12)


def test_imagined_groups_reach_further_and_leave_the_estimate_alone() -> None:
    sums = _with_counts(np.array([0.0] * 19 + [1.0]))
    plain = expanded_bootstrap(sums, _mean, Plan(), n=20)
    with_more = expanded_bootstrap(sums, _mean, Plan(), n=20, imagined=np.array([[50.0, 1.0]]))
    assert with_more.estimate == plain.estimate == pytest.approx(0.05)
    assert with_more.low <= plain.low
    assert with_more.high > 5 * plain.high
    assert "with 1 imagined" in with_more.method


def test_a_perfect_sample_has_an_interval_with_imagined_groups_too() -> None:
    sums = _with_counts(np.zeros(20))
    figure = expanded_bootstrap(
        sums, _mean, Plan(), n=20, bounds=Bounds(0.0, 1.0), imagined=np.array([[1.0, 1.0]])
    )
    assert figure.estimate == 0.0
    # Never shorter than the exact bound of 0 in 20 (Clopper-Pearson).
    assert figure.high >= clopper_pearson(0, 20)[1]


def test_one_group_is_left_as_the_plain_bootstrap_has_it() -> None:
    sums = np.array([[7.0, 10.0]])
    ours = expanded_bootstrap(sums, _mean, Plan(), n=10, bounds=Bounds(0.0, 1.0))
    plain = grouped_bootstrap(sums, _mean, Plan(), n=10, bounds=Bounds(0.0, 1.0))
    assert (ours.low, ours.high) == (plain.low, plain.high)


@pytest.mark.parametrize("groups", [2, 3, 4])
def test_very_few_groups_reach_as_far_as_the_exact_interval_of_as_many_trials(groups: int) -> None:
    # Clopper-Pearson: with two of two right, the share may be as low as 0.158.
    sums = np.column_stack([np.linspace(6.0, 8.0, groups), np.full(groups, 10.0)])
    figure = expanded_bootstrap(sums, _mean, Plan(), n=10 * groups, bounds=Bounds(0.0, 1.0))
    low = clopper_pearson(groups, groups)[0]
    assert figure.low <= 0.7 * low + 1e-12
    assert figure.high >= 0.7 + (1 - low) * 0.3 - 1e-12


def test_no_group_is_unknown_whatever_is_imagined() -> None:
    figure = expanded_bootstrap(np.empty((0, 2)), _mean, Plan(), n=0, imagined=np.array([[1.0, 1.0]]))
    assert figure.unknown == "no case"


def test_a_level_outside_zero_and_one_is_refused() -> None:
    with pytest.raises(ValueError, match="got level 1"):
        expanded_level(1.0, 5)

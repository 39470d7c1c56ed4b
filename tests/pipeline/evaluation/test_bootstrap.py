"""The grouped bootstrap against scipy, theory and time."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.stats import bootstrap, norm

from seamtell.pipeline.evaluation.agreement import macro_f1
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, grouped_bootstrap, sums_by_group
from seamtell.pipeline.evaluation.intervals import clopper_pearson


def _mean(sums: np.ndarray) -> np.ndarray:
    return sums[:, 0] / sums[:, 1]


def _with_counts(values: np.ndarray) -> np.ndarray:
    return np.column_stack([values, np.ones(len(values))])


@pytest.mark.parametrize("seed", [3, 4])
def test_without_groups_it_is_the_bca_interval_of_scipy(seed: int) -> None:
    # Outside reference: scipy.stats.bootstrap(method="BCa"); both are random, 20,000 draws each.
    values = np.random.default_rng(seed).exponential(size=40)
    ours = grouped_bootstrap(_with_counts(values), _mean, Plan(draws=20_000), n=40)
    theirs = bootstrap((values,), np.mean, n_resamples=20_000, method="BCa", rng=1).confidence_interval
    width = theirs.high - theirs.low
    assert ours.low == pytest.approx(theirs.low, abs=0.03 * width)
    assert ours.high == pytest.approx(theirs.high, abs=0.03 * width)
    assert "BCa" in ours.method


def test_whole_groups_are_drawn_so_equal_sections_of_a_group_count_once() -> None:
    # Closed form: with all sections of a group equal, the standard error is that of the group means.
    rng = np.random.default_rng(5)
    means = rng.normal(size=60)
    groups = np.repeat([f"g{i:02d}" for i in range(60)], 10)
    sums = sums_by_group(_with_counts(np.repeat(means, 10)), groups)
    figure = grouped_bootstrap(sums, _mean, Plan(draws=8000), n=600)
    expected_width = 2 * norm.ppf(0.975) * means.std() / np.sqrt(60)
    assert figure.high - figure.low == pytest.approx(expected_width, rel=0.08)


def test_the_interval_covers_the_truth_about_as_often_as_it_says() -> None:
    # Simulation with known truth: 300 samples of 40 groups, nominal 90 %.
    rng = np.random.default_rng(6)
    hits = 0
    for _ in range(300):
        values = rng.exponential(size=40)
        figure = grouped_bootstrap(_with_counts(values), _mean, Plan(draws=400, level=0.90), n=40)
        hits += figure.low <= 1.0 <= figure.high
    assert 0.84 <= hits / 300 <= 0.95


def test_the_same_seed_gives_the_same_interval() -> None:
    values = _with_counts(np.random.default_rng(7).normal(size=30))
    first, second = (grouped_bootstrap(values, _mean, Plan(seed=9), n=30) for _ in range(2))
    assert first == second
    assert grouped_bootstrap(values, _mean, Plan(seed=10), n=30).low != first.low


def test_a_sample_without_variation_is_widened_by_the_exact_interval() -> None:
    figure = grouped_bootstrap(_with_counts(np.ones(5)), _mean, Plan(), n=5, bounds=Bounds(0.0, 1.0))
    assert figure.low == pytest.approx(clopper_pearson(5, 5)[0])
    assert figure.high == 1.0
    assert "widened by the exact interval of 5 in 5" in figure.method


def test_one_group_alone_says_next_to_nothing() -> None:
    sums = np.array([[7.0, 10.0]])
    figure = grouped_bootstrap(sums, _mean, Plan(), n=10, bounds=Bounds(0.0, 1.0))
    assert figure.low < 0.05
    assert figure.high > 0.95


def test_without_variation_and_without_bounds_there_is_no_interval() -> None:
    figure = grouped_bootstrap(_with_counts(np.ones(5)), _mean, Plan(), n=5)
    assert (figure.estimate, figure.low, figure.high) == (1.0, None, None)


def test_no_group_is_unknown() -> None:
    assert grouped_bootstrap(np.empty((0, 2)), _mean, Plan(), n=0).unknown == "no case"


def test_a_figure_that_is_not_defined_is_unknown() -> None:
    figure = grouped_bootstrap(np.zeros((3, 2)), lambda s: np.full(len(s), np.nan), Plan(), n=3)
    assert figure.unknown == "not defined for these sections"


def test_two_thousand_draws_of_macro_f1_take_less_than_two_seconds() -> None:
    rng = np.random.default_rng(8)
    sums = rng.multinomial(3, np.full(30, 1 / 30), size=400).astype(float)
    started = time.perf_counter()
    grouped_bootstrap(sums, lambda s: macro_f1(s.reshape(len(s), 5, 6)), Plan(), n=1200, bounds=Bounds(0, 1))
    assert time.perf_counter() - started < 2.0

"""Draws whose probabilities must come out as stated: checked by simulation and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from seamtell.pipeline.cutting.drawing import inclusion_probabilities, spread_draw, systematic_draw


def on_a_line(points: np.ndarray):
    return lambda i, others: np.abs(points[others] - points[i])


def test_probabilities_add_up_to_the_number_of_cuts_and_follow_worth() -> None:
    worth = np.array([0.0, 1.0, 2.0, 50.0])
    p = inclusion_probabilities(worth, 2, equal_share=0.2)
    assert p.sum() == pytest.approx(2.0)
    assert p[3] == 1.0
    # What is left of the budget is shared by the same mixture among the rest.
    sizes = 0.2 / 4 + 0.8 * worth[:3] / worth.sum()
    assert p[:3] == pytest.approx(sizes / sizes.sum())


def test_every_place_can_be_drawn_even_one_without_worth() -> None:
    p = inclusion_probabilities(np.r_[np.zeros(99), 1.0], 10)
    assert p.min() > 0
    assert p.max() <= 1


def test_a_budget_beyond_the_places_is_an_error() -> None:
    with pytest.raises(ValueError, match="got 3 places to draw, expected 0 to 2"):
        inclusion_probabilities(np.ones(2), 3)


def test_the_spread_draw_takes_each_place_as_often_as_its_probability_says() -> None:
    """Chi-square of the standardised counts against SciPy."""
    rng = np.random.default_rng(3)
    p = inclusion_probabilities(rng.exponential(size=30), 6)
    points, draws = rng.normal(size=30), 2000
    counts = np.zeros(30)
    for seed in range(draws):
        drawn = spread_draw(p, on_a_line(points), np.random.default_rng(seed))
        assert len(drawn) == 6
        counts[drawn] += 1
    z = (counts - draws * p) / np.sqrt(draws * p * (1 - p))
    # Counts of a fixed total are negatively correlated, so this bound is on the safe side.
    assert (z**2).sum() < stats.chi2.ppf(0.9999, 30)


def test_near_places_are_seldom_drawn_together() -> None:
    """Fifteen pairs of twins: independent draws would take both of some pair nearly always."""
    points = np.repeat(np.arange(15.0), 2) + np.tile([0.0, 1e-3], 15)
    p = np.full(30, 0.5)
    for seed in range(50):
        drawn = spread_draw(p, on_a_line(points), np.random.default_rng(seed))
        assert len(np.unique(drawn // 2)) == 15


def test_the_systematic_draw_is_uniform_along_the_length() -> None:
    sizes = np.array([300.0, 600.0, 100.0])
    positions = []
    for seed in range(400):
        places, within = systematic_draw(sizes, 2, np.random.default_rng(seed))
        positions += (np.r_[0.0, np.cumsum(sizes)[:-1]][places] + within).tolist()
    # Kolmogorov-Smirnov as in SciPy; points of one draw are tied, one of each is independent.
    assert stats.kstest(np.array(positions[::2]) / 500.0, "uniform").pvalue > 1e-3
    assert np.diff(np.array(positions).reshape(-1, 2), axis=1) == pytest.approx(500.0)

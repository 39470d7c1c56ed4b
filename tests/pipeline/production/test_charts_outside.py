"""Charts, places and changes against published formulas, scipy, and planted truths."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from seamtell.pipeline.production.change_points import change_points
from seamtell.pipeline.production.control_chart import control_chart
from seamtell.pipeline.production.places import poisson_interval, uniform_p
from seamtell.pipeline.production.repeats import repeated_marks
from seamtell.pipeline.production.run_rules import RunRule, average_run_length


def test_limits_of_the_u_chart_are_those_of_the_handbook():
    # NIST/SEMATECH e-Handbook 6.3.3.1: u-bar +- 3 sqrt(u-bar / n), not below zero
    flaws = np.array([4, 6, 3, 5, 7, 4, 5, 6, 30, 5])
    metres = np.array([10.0, 12.0, 9.0, 10.0, 14.0, 10.0, 11.0, 12.0, 10.0, 2.0])
    baseline = np.arange(10) < 8
    chart = control_chart(flaws, metres, baseline, widen=False)
    u = flaws[baseline].sum() / metres[baseline].sum()
    np.testing.assert_allclose(chart.centre_per_m, u)
    np.testing.assert_allclose(chart.high_per_m, u + 3 * np.sqrt(u / metres))
    np.testing.assert_allclose(chart.low_per_m, np.maximum(0, u - 3 * np.sqrt(u / metres)))
    assert chart.alarms[RunRule.BEYOND_THREE].tolist() == [False] * 8 + [True, True]


def test_poisson_intervals_are_those_of_scipy_bound_by_bound():
    # the exact (Garwood) interval: each tail has 2.5 % under its own bound (scipy.stats.poisson)
    counts = np.array([0, 1, 3, 10, 100])
    low, high = poisson_interval(counts)
    np.testing.assert_allclose(stats.poisson.cdf(counts, high), 0.025)
    np.testing.assert_allclose(stats.poisson.sf(counts[1:] - 1, low[1:]), 0.025)
    assert low[0] == 0


@pytest.mark.parametrize(
    ("rules", "published"),
    [
        ((RunRule.BEYOND_THREE,), 370.4),
        ((RunRule.BEYOND_THREE, RunRule.TWO_OF_THREE), 225.4),
        ((RunRule.BEYOND_THREE, RunRule.EIGHT_IN_A_ROW), 152.7),
        (tuple(RunRule), 91.75),
    ],
)
def test_average_run_lengths_are_the_published_ones(rules, published):
    # Champ and Woodall (1987), Technometrics 29, 393-399; from memory. Simulation error is about 5 %.
    length = average_run_length(rules, np.random.default_rng(2), series=600)
    assert length == pytest.approx(published, rel=0.15)


def test_the_distance_from_an_even_density_has_the_p_value_of_kolmogorov_and_smirnov_in_fine_bins():
    # scipy.stats.kstest on positions that are the middles of many fine bins
    rng = np.random.default_rng(8)
    positions = np.floor(rng.beta(1.0, 1.25, 300) * 2000)
    counts = np.bincount(positions.astype(int), minlength=2000)
    expected = stats.kstest((positions + 0.5) / 2000, "uniform").pvalue
    assert uniform_p(counts, np.ones(2000), rng, worlds=4000) == pytest.approx(expected, abs=0.02)


def test_edges_that_fewer_seams_reach_do_not_pass_for_fewer_flaws():
    rng = np.random.default_rng(1)
    metres = np.linspace(60.0, 5.0, 40)  # seams end at different lengths
    counts = rng.poisson(metres * 2.0)
    assert uniform_p(counts, metres, rng) > 0.01
    low, high = poisson_interval(counts)
    inside = (low <= 2.0 * metres) & (high >= 2.0 * metres)
    assert inside.mean() > 0.85


def test_a_planted_change_is_found_with_its_week_and_none_where_there_is_none():
    rng = np.random.default_rng(11)
    metres = np.full(52, 300.0)
    found, held, false = 0, 0, 0
    for _ in range(25):
        rate = np.where(np.arange(52) < 30, 0.05, 0.085)
        changes = change_points(rng.poisson(metres * rate), metres, rng)
        near = [one for one in changes if abs(one.first - 30) <= 3]
        found += len(near) == 1
        held += any(one.low <= 30 <= one.high for one in near)
        false += len(change_points(rng.poisson(metres * 0.05), metres, rng)) > 0
    assert found >= 21
    assert held >= 20
    assert false <= 2


def test_the_probability_of_a_change_is_that_of_adding_up_every_way_to_cut_the_series():
    # Gamma-Poisson counts are negative binomial (scipy.stats.nbinom); every segmentation is enumerated.
    flaws, metres = np.array([3, 5, 4, 12, 14, 11, 13]), np.full(7, 90.0)
    n, prior_rate = len(flaws), metres.sum() / flaws.sum()
    per_period = 1 - (1 - 0.5) ** (1 / (n - 1))

    def segment(first, stop):  # one period after the other, each given those before it
        shape, rate, log = 1.0, prior_rate, 0.0
        for k in range(first, stop):
            log += stats.nbinom.logpmf(flaws[k], shape, rate / (rate + metres[k]))
            shape, rate = shape + flaws[k], rate + metres[k]
        return log

    weights = {}
    for cuts in itertools.chain.from_iterable(itertools.combinations(range(1, n), m) for m in range(n)):
        edges = [0, *cuts, n]
        likelihood = sum(segment(a, b) for a, b in itertools.pairwise(edges))
        weights[cuts] = np.exp(likelihood) * per_period ** len(cuts) * (1 - per_period) ** (n - 1 - len(cuts))
    expected = 1 - weights[()] / sum(weights.values())
    (found,) = change_points(flaws, metres, np.random.default_rng(4), any_change=0.5)
    assert found.first == max((cuts for cuts in weights if len(cuts) == 1), key=weights.__getitem__)[0] == 3
    assert 0.95 < expected < 0.995
    assert found.probability == pytest.approx(expected, abs=3 * np.sqrt(expected * (1 - expected) / 1000))


def test_a_change_that_is_sure_is_reported_although_its_date_is_not():
    # One change in 52 weeks; its date is known to some weeks only, and an interval of 95 % holds it.
    rng = np.random.default_rng(12)
    metres, weeks = np.full(52, 96.0), np.arange(52)
    rate = np.where((weeks >= 22) & (weeks < 39), 0.16, 0.085)
    series = [change_points(rng.poisson(metres * rate), metres, rng) for _ in range(40)]
    ends = [any(one.low <= week <= one.high for one in found) for found in series for week in (22, 39)]
    assert np.mean(ends) >= 0.85
    assert sum(len(found) > 2 for found in series) <= 2
    quiet = [change_points(rng.poisson(metres * 0.085), metres, rng) for _ in range(40)]
    assert sum(map(bool, quiet)) <= 2


def test_a_mark_that_comes_back_is_found_where_it_was_planted_and_no_other():
    rng = np.random.default_rng(3)
    share = np.full((20, 50), 1 / 50)
    hits = rng.poisson(0.4, (20, 50))
    hits[8:14, 21] += rng.poisson(4.0, 6)
    marks = repeated_marks(hits, share, rng)
    assert marks
    assert marks[0].first_bin <= 21 <= marks[0].last_bin
    assert marks[0].last_bin - marks[0].first_bin <= 2
    assert marks[0].first_block <= 10
    assert marks[0].last_block >= 11
    quiet = [len(repeated_marks(rng.poisson(0.4, (20, 50)), share, rng)) for _ in range(20)]
    assert sum(count > 0 for count in quiet) <= 4

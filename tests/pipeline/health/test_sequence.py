from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import kstest, spearmanr, ttest_ind

from seamtell.pipeline.health.sequence import MOST_BET, bets, evidence, predictive_p

FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"


def test_the_p_value_of_one_new_value_is_that_of_a_two_sample_t_test() -> None:
    """Against `scipy.stats.ttest_ind`: pooled spread of n values and one is the spread of the n."""
    values = np.random.default_rng(1).normal(40, 3, 30)
    p = predictive_p(values, 10)
    assert np.isnan(p[:10]).all()
    for i in range(10, 30):
        theirs = ttest_ind([values[i]], values[:i], alternative="greater").pvalue
        assert p[i] == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("p", [1e-8, 1e-4, 0.01, 0.3, 0.9, 0.99995, 1.0])
def test_the_bet_is_the_mean_of_the_power_calibrators(p: float) -> None:
    """Against numerical integration with `scipy.integrate.quad`."""
    mean = quad(lambda k: k * p ** (k - 1), 0, 1)[0]
    assert bets([p])[0] == pytest.approx(min(mean, MOST_BET), rel=1e-6)


def test_a_bet_wins_nothing_on_average_while_nothing_has_changed() -> None:
    """The expectation over a uniform p is at most 1, here lower by what is cut off."""
    low = quad(lambda u: float(bets([np.exp(u)])[0]) * np.exp(u), -60, 0, limit=300)[0]
    assert 0.85 < low <= 1.0


def test_p_values_of_like_blocks_are_uniform_and_independent_of_each_other() -> None:
    """Against the uniform distribution by `scipy.stats.kstest`, and neighbours by `spearmanr`; fixed seed."""
    rng = np.random.default_rng(2)
    p = np.array([predictive_p(rng.normal(0, 1, 30), 10)[10:] for _ in range(400)])
    assert kstest(p.ravel(), "uniform").pvalue > 0.01
    assert spearmanr(p[:, :-1].ravel(), p[:, 1:].ravel()).pvalue > 0.01


def test_a_block_without_a_value_changes_nothing() -> None:
    values = np.random.default_rng(3).normal(0, 1, 40)
    gaps = np.insert(values, [5, 20, 30], np.nan)
    whole, with_gaps = evidence(values, 10).evidence, evidence(gaps, 10).evidence
    assert with_gaps[~np.isnan(gaps)] == pytest.approx(whole)


def test_level_and_unit_of_a_stream_do_not_matter_and_its_sign_only_turns_the_direction() -> None:
    values = np.random.default_rng(4).normal(0, 1, 60) + np.repeat([0, 2.0], 30)
    one, other, turned = (evidence(v, 20) for v in (values, 1e6 + 7 * values, -values))
    assert other.evidence == pytest.approx(one.evidence, rel=1e-4)
    assert turned.evidence == pytest.approx(one.evidence)
    assert (bool(one.upward[-1]), bool(turned.upward[-1])) == (True, False)


def test_going_on_gives_what_doing_it_at_once_gives() -> None:
    values = np.random.default_rng(5).normal(0, 1, 80)
    assert evidence(values[:50], 20).evidence == pytest.approx(evidence(values, 20).evidence[:50])


def test_a_stream_that_never_moves_raises_nothing_and_no_single_block_wins_more_than_the_cap() -> None:
    flat = np.full(60, 3.0)
    assert evidence(flat, 20).evidence.max() < 5
    flat[-1] = 4.0
    assert evidence(flat, 20).evidence[-1] <= MOST_BET * 6


@pytest.mark.coverage
def test_the_mean_time_to_a_false_alarm_is_at_least_the_stated_one() -> None:
    """Simulation: runs cut off at three times the stated length, which only lowers their mean."""
    stated, streams = 100, 4
    rng, n = np.random.default_rng(6), 400 if FULL else 60
    lengths = []
    for _ in range(n):
        values = rng.normal(0, 1, (streams, 20 + 3 * stated))
        highest = np.array([evidence(v, 20).evidence for v in values]).max(axis=0)[20:]
        crossed = np.flatnonzero(highest >= streams * stated)
        lengths.append(crossed[0] + 1 if len(crossed) else 3 * stated)
    assert np.mean(lengths) >= stated


@pytest.mark.coverage
def test_a_slow_loss_of_three_decibels_in_six_weeks_is_found_before_it_is_over() -> None:
    """One block a day, spread between days 0.4 dB, 24 streams, a false alarm in 2000 blocks at most."""
    rng, n, found = np.random.default_rng(8), 200 if FULL else 40, 0
    for _ in range(n):
        level = np.concatenate([np.zeros(30), -3.0 * np.arange(1, 43) / 42]) + rng.normal(0, 0.4, 72)
        found += evidence(level, 20).evidence.max() >= 24 * 2000
    assert found / n >= 0.95


@pytest.mark.coverage
def test_rare_counts_do_not_alarm_more_often_than_stated() -> None:
    """Counts are not normal: rates of novelty around one in fifty, on the scale and floor that blocks use."""
    stated, rng, n = 100, np.random.default_rng(9), 300 if FULL else 60
    lengths = []
    for _ in range(n):
        counts = rng.binomial(50, 0.02, 20 + 3 * stated)
        values = np.arcsin(np.sqrt((counts + 0.375) / 50.75))
        crossed = np.flatnonzero(evidence(values, 20, 0.5 / np.sqrt(50)).evidence[20:] >= stated)
        lengths.append(crossed[0] + 1 if len(crossed) else 3 * stated)
    assert np.mean(lengths) >= stated

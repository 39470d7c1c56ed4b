"""Cuts chosen by height: strata of height make the correction fair, strata of answers alone do not.

The shop is simulated directly: a truth and a height for every indication, an answer that depends on both,
and sections that are cut the more often the higher the indication is, and never below a height.
``SEAMTELL_COVERAGE=full`` simulates 500 shops instead of 40.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.stats import binom

from seamtell.pipeline.flaw_mix.confusion_draws import Design, SectionCounts, draw_confusion
from seamtell.pipeline.flaw_mix.corrected import GroupCounts, draw_group, figure_of
from seamtell.pipeline.production.height_bins import EVERY_HEIGHT, HeightBins, bins_of_sections

FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"
SHOPS, CLASSES, ANSWERS = 500 if FULL else 40, 3, 4
OLD_MIX, NEW_MIX = np.array([0.25, 0.25, 0.5]), np.array([0.15, 0.35, 0.5])
MEDIAN_HEIGHT = np.array([0.8, 0.7, 0.25])
"""Of two flaws and of false indications, as a share of the limit."""
NEVER_CUT = 0.25

Made = tuple[np.ndarray, np.ndarray, np.ndarray]


def production(mix: np.ndarray, n: int, rng: np.random.Generator) -> Made:
    """Truth, height and answer; the lower an indication the more often it gets no label, the last answer."""
    truth = rng.choice(CLASSES, n, p=mix)
    height = MEDIAN_HEIGHT[truth] * np.exp(rng.normal(0.0, 0.5, n))
    wrong = rng.random(n) < 0.12
    answer = np.where(wrong, rng.integers(0, CLASSES, n), truth)
    silent = rng.random(n) < np.clip(0.75 - 0.7 * height, 0.1, 0.7)
    return truth, height, np.where(silent, ANSWERS - 1, answer)


def sections(bins_for: str, rng: np.random.Generator) -> tuple[SectionCounts, HeightBins]:
    truth, height, answer = production(OLD_MIX, 5000, rng)
    chance = np.where(height < NEVER_CUT, 0.0, np.minimum(height, 1.0) ** 2)
    cut = rng.choice(len(truth), 350, replace=False, p=chance / chance.sum())
    above = height > 1.0
    bins = bins_of_sections(height[cut][~above[cut]]) if bins_for == "height" else EVERY_HEIGHT
    of = bins.of(height, above)
    stratum = answer + ANSWERS * of
    found = np.zeros((CLASSES, ANSWERS * bins.count), dtype=np.int64)
    kept = cut[of[cut] >= 0]
    np.add.at(found, (truth[kept], stratum[kept]), 1)
    seen = np.bincount(stratum[of >= 0], minlength=found.shape[1]).astype(float)
    answers = np.tile(np.arange(ANSWERS), bins.count)
    return SectionCounts(found, seen, answers, ANSWERS, Design.BY_STRATUM), bins


def share_held(bins_for: str) -> float:
    """Share of 95 % intervals that hold the true share of the indications that are told of."""
    rng, inside = np.random.default_rng(77), 0
    for _ in range(SHOPS):
        counts, bins = sections(bins_for, rng)
        truth, height, answer = production(NEW_MIX, 3000, rng)
        told = bins.of(height, height > 1.0) >= 0
        group = GroupCounts(np.bincount(answer[told], minlength=ANSWERS), 1000, 500.0)
        draws = draw_group(group, draw_confusion(counts, 500, rng), rng)
        for place in range(CLASSES):
            figure = figure_of(draws.mix[:, place], float(draws.point[place]), 0.95)
            inside += figure.low <= (truth[told] == place).mean() <= figure.high
    return inside / (SHOPS * CLASSES)


@pytest.mark.coverage
def test_strata_of_height_hold_the_truth_about_as_often_as_stated() -> None:
    # scipy.stats.binom gives the bounds; the figures of one shop hang together, so shops count, not figures.
    # With more strata than sections can fill the intervals are a little wide: 0.973 of 500 shops.
    low, high = (0.93, 0.985) if FULL else binom.interval(0.999, SHOPS, 0.95) / np.array(SHOPS)
    assert low <= share_held("height") <= high


@pytest.mark.coverage
def test_strata_of_answers_alone_would_miss_it() -> None:
    assert share_held("answer") < 0.6


def test_bins_hold_sections_enough_and_leave_out_the_lowest_tenth() -> None:
    heights = np.random.default_rng(1).uniform(0.2, 1.0, 200)
    bins = bins_of_sections(heights)
    of = bins.of(heights, np.zeros(200, bool))
    assert (of == -1).sum() == pytest.approx(20, abs=1)
    assert np.bincount(of[of >= 0]).min() >= 25
    assert bins.lowest == pytest.approx(np.quantile(heights, 0.1))


def test_few_sections_make_one_bin_and_none_leave_nothing_out() -> None:
    assert bins_of_sections(np.linspace(0.3, 0.9, 12)).count == 2
    assert bins_of_sections(np.zeros(0)) == EVERY_HEIGHT
    assert EVERY_HEIGHT.lowest is None
    assert EVERY_HEIGHT.of(np.array([0.0, 5.0]), np.array([False, True])).tolist() == [0, 1]

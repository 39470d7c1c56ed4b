"""Sections that a plan drew: weighed by their stored probabilities they are fair, as they stand they are not.

The shop is simulated directly. A plan prefers what is ambiguous, and what is ambiguous is more often
something else than its answer. ``SEAMTELL_COVERAGE=full`` simulates 500 shops instead of 40.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.stats import binom

from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.cutting.drawing import inclusion_probabilities, systematic_draw
from seamtell.pipeline.flaw_mix.confusion_draws import Design, SectionCounts, draw_confusion
from seamtell.pipeline.flaw_mix.corrected import GroupCounts, draw_group, figure_of

FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"
SHOPS, CLASSES, ANSWERS = 500 if FULL else 40, 3, 4
OLD_MIX, NEW_MIX = np.array([0.3, 0.3, 0.4]), np.array([0.15, 0.45, 0.4])


def production(
    mix: np.ndarray, n: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Truth, answer, and how ambiguous each is: five times as much where the answer is wrong."""
    truth = rng.choice(CLASSES, n, p=mix)
    wrong = rng.random(n) < np.array([0.25, 0.1, 0.15])[truth]
    answer = np.where(wrong, (truth + rng.integers(1, ANSWERS, n)) % ANSWERS, truth)
    ambiguous = np.exp(rng.normal(0.0, 0.5, n)) * np.where(wrong, 5.0, 1.0)
    return truth, answer, ambiguous


def sections(weighed: bool, rng: np.random.Generator) -> SectionCounts:
    """A plan of 350 cuts, and 100 that the shop cut at random among the indications before."""
    truth, answer, ambiguous = production(OLD_MIX, 4000, rng)
    chance = inclusion_probabilities(ambiguous, 350)
    order = rng.permutation(len(chance))
    planned = order[systematic_draw(chance[order], 350, rng)[0]]
    before = rng.choice(len(truth), 100, replace=False)
    cut = np.concatenate([planned, before])
    probability = np.concatenate([chance[planned], np.full(len(before), np.nan)])
    found = np.zeros((CLASSES, ANSWERS), dtype=np.int64)
    np.add.at(found, (truth[cut], answer[cut]), 1)
    worth = np.zeros(found.shape)
    np.add.at(worth, (truth[cut], answer[cut]), drawn_weights(answer[cut].astype(str), probability))
    seen = np.bincount(answer, minlength=ANSWERS).astype(float)
    places = np.arange(ANSWERS)
    return SectionCounts(found, seen, places, ANSWERS, Design.BY_STRATUM, worth if weighed else None)


def share_held(weighed: bool) -> float:
    """Share of 95 % intervals that hold the true share of the indications."""
    rng, inside = np.random.default_rng(31), 0
    for _ in range(SHOPS):
        counts = sections(weighed, rng)
        truth, answer, _ = production(NEW_MIX, 6000, rng)
        group = GroupCounts(np.bincount(answer, minlength=ANSWERS), 1000, 500.0)
        draws = draw_group(group, draw_confusion(counts, 500, rng), rng)
        for place in range(CLASSES):
            figure = figure_of(draws.mix[:, place], float(draws.point[place]), 0.95)
            inside += figure.low <= (truth == place).mean() <= figure.high
    return inside / (SHOPS * CLASSES)


@pytest.mark.coverage
def test_intervals_from_planned_sections_hold_the_truth_as_often_as_stated() -> None:
    # Effective numbers are cautious where what is ambiguous is wrong more often: 0.99 of 200 shops.
    low = 0.93 if FULL else binom.ppf(0.0005, SHOPS, 0.95) / SHOPS
    assert share_held(weighed=True) >= low


@pytest.mark.coverage
def test_without_their_probabilities_they_would_miss_it() -> None:
    assert share_held(weighed=False) < 0.85


def test_a_section_without_weight_is_refused() -> None:
    found = np.ones((2, 2), np.int64)
    with pytest.raises(ValueError, match="of no weight"):
        SectionCounts(found, np.ones(2), np.arange(2), 2, Design.BY_STRATUM, np.array([[1.0, 0.0], [1, 1]]))

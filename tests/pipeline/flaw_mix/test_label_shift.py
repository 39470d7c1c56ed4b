"""Corrected shares under a moved mix: do the intervals hold the truth as often as they say?

    SEAMTELL_COVERAGE=full pytest -m coverage tests/pipeline/flaw_mix/test_label_shift.py

simulates 500 shops of each design instead of 40. The shop is simulated directly: a truth for every
indication, an answer for every truth, sections chosen by one of two designs.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.stats import binom

from seamtell.pipeline.flaw_mix.confusion_draws import Design, SectionCounts, draw_confusion
from seamtell.pipeline.flaw_mix.corrected import GroupCounts, draw_group, figure_of

pytestmark = pytest.mark.coverage

FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"
SHOPS = 500 if FULL else 40
CLASSES, ANSWERS = 5, 6
CONFUSION = np.array(
    [
        [0.70, 0.10, 0.02, 0.02, 0.06, 0.10],
        [0.10, 0.66, 0.10, 0.02, 0.04, 0.08],
        [0.02, 0.08, 0.76, 0.06, 0.02, 0.06],
        [0.02, 0.02, 0.08, 0.72, 0.08, 0.08],
        [0.06, 0.04, 0.02, 0.08, 0.66, 0.14],
    ]
)
OLD_MIX = np.array([0.2, 0.25, 0.15, 0.2, 0.2])
NEW_MIX = np.array([0.4, 0.15, 0.1, 0.15, 0.2])
SECTIONS, INDICATIONS = 300, 1500


def answered(mix: np.ndarray, n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    truth = rng.choice(CLASSES, n, p=mix)
    answer = (rng.random(n)[:, None] > CONFUSION[truth].cumsum(axis=1)).sum(axis=1)
    return truth, np.minimum(answer, ANSWERS - 1)


def sections_of(design: Design, rng: np.random.Generator) -> SectionCounts:
    truth, answer = answered(OLD_MIX, 4000, rng)
    if design is Design.RANDOM:
        cut = rng.choice(len(truth), SECTIONS, replace=False)
    else:  # as many of every answer: the shop cuts what looks interesting
        own = [np.flatnonzero(answer == a) for a in range(ANSWERS)]
        cut = np.concatenate(
            [rng.choice(rows, min(len(rows), SECTIONS // ANSWERS), replace=False) for rows in own]
        )
    found = np.zeros((CLASSES, ANSWERS), dtype=np.int64)
    np.add.at(found, (truth[cut], answer[cut]), 1)
    production = np.bincount(answer, minlength=ANSWERS).astype(float)
    return SectionCounts(found, production, np.arange(ANSWERS), ANSWERS, design)


@pytest.mark.parametrize("design", list(Design))
def test_intervals_of_95_percent_hold_the_true_share_about_as_often(design: Design) -> None:
    rng = np.random.default_rng(20260101)
    inside = raw_inside = 0
    for _ in range(SHOPS):
        confusion = draw_confusion(sections_of(design, rng), 600, rng)
        _, answer = answered(NEW_MIX, INDICATIONS, rng)
        counts = GroupCounts(np.bincount(answer, minlength=ANSWERS), 1000, 500.0)
        draws = draw_group(counts, confusion, rng)
        for place in range(CLASSES):
            figure = figure_of(draws.mix[:, place], float(draws.point[place]), 0.95)
            inside += figure.low <= NEW_MIX[place] <= figure.high
        raw = (answer == 0).mean()
        raw_inside += abs(raw - NEW_MIX[0]) < 1.96 * np.sqrt(raw * (1 - raw) / INDICATIONS)
    looks = SHOPS * CLASSES
    low, high = (0.93, 0.97) if FULL else binom.interval(0.999, SHOPS, 0.95) / np.array(SHOPS)
    assert low <= inside / looks <= high
    # What the correction is for: the labels as they stand miss the truth.
    assert raw_inside < 0.5 * SHOPS


def test_reading_chosen_sections_as_if_they_were_random_would_miss() -> None:
    rng = np.random.default_rng(5)
    off_right, off_wrong = [], []
    for _ in range(30):
        chosen = sections_of(Design.BY_STRATUM, rng)
        wrong = SectionCounts(chosen.found, chosen.production, chosen.answer_of, ANSWERS, Design.RANDOM)
        _, answer = answered(NEW_MIX, 20_000, rng)
        counts = GroupCounts(np.bincount(answer, minlength=ANSWERS), 1000, 500.0)
        for off, sections in ((off_right, chosen), (off_wrong, wrong)):
            off.append(draw_group(counts, draw_confusion(sections, 50, rng), rng).point - NEW_MIX)
    right, wrong_bias = np.abs(np.mean(off_right, axis=0)).max(), np.abs(np.mean(off_wrong, axis=0)).max()
    assert right < 0.02
    assert wrong_bias > 2 * right

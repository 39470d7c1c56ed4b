"""Figures weighed by the stored probabilities are unbiased, whatever the plan hunts for.

The Horvitz-Thompson estimator is unbiased for any design whose inclusion probabilities are right
(Horvitz and Thompson 1952), so its mean over many plans must be the truth within its own error.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy import stats

from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.near_copies import Looks

DRAWS = 4000 if os.environ.get("SEAMTELL_COVERAGE") == "full" else 250
CUTS = 20


@pytest.mark.coverage
def test_weighed_shares_are_the_true_ones_where_the_cuts_as_they_are_hunt_one_class() -> None:
    rng = np.random.default_rng(8)
    m = 150
    rare = rng.random(m) < 0.2
    looks = Looks(
        points=rng.normal(size=(m, 4)) + rare[:, None],
        seams=np.array([f"s{i // 2}" for i in range(m)]),
        coils=np.array([f"c{i // 10}" for i in range(m)]),
        lines=np.array([f"L{i % 2}" for i in range(m)]),
        position_mm=rng.uniform(0, 400, m),
    )
    worth = np.where(rare, 0.8, 0.1) + rng.uniform(0, 0.2, m)
    totals, weighed, plain = [], [], []
    for draw in range(DRAWS):
        choice = choose_indications(looks, worth, CUTS, np.random.default_rng([1, draw]))
        met, p = rare[choice.chosen].astype(float), choice.probabilities[choice.chosen]
        weights = drawn_weights(np.full(CUTS, "a"), p)
        totals.append((met / p).sum() / m)
        weighed.append(weights @ met / weights.sum())
        plain.append(met.mean())
    truth = rare.mean()
    assert stats.ttest_1samp(totals, truth).pvalue > 1e-3
    # A ratio is biased by about one over the number of cuts; as they are, the cuts are far off.
    assert abs(np.mean(weighed) - truth) < 0.05
    assert np.mean(plain) - truth > 0.15

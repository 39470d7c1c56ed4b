"""Statements for all classes at once, against statsmodels and by exact enumeration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.acceptance.simultaneous import (
    bonferroni_level,
    class_bounds,
    holm,
    simultaneous_words,
)
from seamtell.pipeline.evaluation.intervals import clopper_pearson


@pytest.mark.parametrize("seed", range(5))
def test_holm_is_that_of_statsmodels(seed: int) -> None:
    p = np.random.default_rng(seed).uniform(size=9) ** 2
    assert holm(p.tolist()) == pytest.approx(multipletests(p, method="holm")[1], abs=1e-12)


def test_tests_that_were_not_made_do_not_count() -> None:
    # statsmodels over the three that were made.
    expected = multipletests([0.01, 0.04, 0.03], method="holm")[1]
    ours = holm([0.01, None, 0.04, 0.03])
    assert ours[1] is None
    assert [ours[0], ours[2], ours[3]] == pytest.approx(expected)


def test_no_test_gives_no_p_value() -> None:
    assert holm([]) == ()
    assert holm([None]) == (None,)


def test_a_p_value_above_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"got p = 1\.5"):
        holm([1.5])


def test_bounds_are_the_exact_intervals_of_statsmodels_at_the_corrected_level() -> None:
    counts = {"pinhole": (18, 20), "mismatch": (12, 12), "edge_notch": (3, 11)}
    for one in class_bounds(counts):
        low, high = proportion_confint(*counts[one.label], alpha=0.05 / 3, method="beta")
        assert (one.recall.low, one.recall.high) == pytest.approx((low, high), abs=1e-12)
        assert one.level_each == pytest.approx(1 - 0.05 / 3)
        assert "Bonferroni over 3 classes" in one.method


def test_all_intervals_hold_together_as_often_as_stated() -> None:
    # Exact enumeration with scipy.stats.binom: independent classes, chance that every interval covers.
    together = 1.0
    sizes, recalls = (20, 12, 8, 30, 15), (0.9, 0.7, 0.5, 0.8, 0.95)
    for n, recall in zip(sizes, recalls, strict=True):
        covered = [
            k
            for k in range(n + 1)
            if clopper_pearson(k, n, bonferroni_level(0.95, 5))[0]
            <= recall
            <= clopper_pearson(k, n, bonferroni_level(0.95, 5))[1]
        ]
        together *= binom.pmf(covered, n, recall).sum()
    assert together >= 0.95


def test_a_class_without_a_section_is_unknown_and_costs_the_others_nothing() -> None:
    bounds = class_bounds({"pinhole": (18, 20), "mismatch": (0, 0)})
    assert bounds[1].recall.unknown == "no section"
    assert bounds[0].level_each == pytest.approx(0.95)
    assert "Nothing is said of mismatch" in simultaneous_words(bounds)


def test_without_any_section_the_sentence_says_so() -> None:
    assert "nothing can be said" in simultaneous_words(class_bounds({"pinhole": (0, 0)}))


def test_no_statement_is_refused() -> None:
    with pytest.raises(ValueError, match="got 0 statements"):
        bonferroni_level(0.95, 0)

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import softmax
from scipy.stats import sem
from sklearn.metrics import f1_score, log_loss

from seamtell.models.cross_validation import SizeBandResult
from seamtell.models.scoring import choose, grouped_mean, log_losses, macro_f1, score_candidates

RNG = np.random.default_rng(1)
CODES = RNG.integers(0, 3, 120)
GROUPS = np.array([f"g{i // 4}" for i in range(120)])


def answers(skill: float, seed: int = 2) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(size=(120, 3))
    return softmax(noise + skill * np.eye(3)[CODES], axis=1)


def test_log_loss_is_that_of_scikit_learn() -> None:
    assert log_losses(answers(2.0), CODES).mean() == pytest.approx(log_loss(CODES, answers(2.0)))


def test_macro_f1_is_that_of_scikit_learn() -> None:
    predicted = answers(1.0).argmax(axis=1)
    assert macro_f1(predicted, CODES, 3) == pytest.approx(f1_score(CODES, predicted, average="macro"))


def test_a_class_that_never_occurs_does_not_count_and_one_never_hit_counts_zero() -> None:
    codes, predicted = np.array([0, 0, 1]), np.array([0, 0, 0])
    reference = f1_score(codes, predicted, average="macro", labels=[0, 1], zero_division=0)
    assert macro_f1(predicted, codes, 3) == pytest.approx(reference)


def test_the_grouped_standard_error_is_the_cluster_robust_one_of_statsmodels() -> None:
    values = RNG.normal(size=120) + np.repeat(RNG.normal(size=30), 4)
    clusters = np.repeat(np.arange(30), 4)
    reference = sm.OLS(values, np.ones(120)).fit(cov_type="cluster", cov_kwds={"groups": clusters})
    mean, error = grouped_mean(values, GROUPS)
    assert mean == pytest.approx(reference.params[0])
    assert error == pytest.approx(reference.bse[0])


def test_with_every_row_its_own_group_it_is_the_usual_standard_error() -> None:
    values = RNG.normal(size=120)
    assert grouped_mean(values, np.arange(120).astype(str))[1] == pytest.approx(sem(values))


def table(skills: dict[str, float]):
    raw = {name: answers(skill) for name, skill in skills.items()}
    return score_candidates(tuple(skills), raw, raw, dict.fromkeys(skills), CODES, GROUPS)


def test_the_best_is_chosen_when_it_is_clearly_best() -> None:
    assert choose(table({"prior": 0.0, "logistic": 3.0, "lightgbm": 1.0})) == "logistic"
    assert choose(table({"prior": 0.0, "logistic": 0.5, "lightgbm": 3.0})) == "lightgbm"


def test_the_simplest_within_one_standard_error_of_the_best_is_chosen() -> None:
    rows = table({"prior": 0.0, "logistic": 2.0, "lightgbm": 2.05})
    assert rows[2].log_loss < rows[1].log_loss < rows[2].log_loss + rows[2].standard_error
    assert [row.chosen for row in rows] == [False, True, False]


def test_unseen_sizes_are_scored_apart_and_left_empty_when_unknown() -> None:
    raw = {"prior": answers(1.0)}
    rows = np.arange(120) < 40
    unseen = np.where(rows[:, None], answers(3.0, seed=5), np.nan)
    known = score_candidates(("prior",), raw, raw, {"prior": SizeBandResult(rows, unseen)}, CODES, GROUPS)[0]
    predicted = unseen[:40].argmax(axis=1)
    assert known.size_band_macro_f1 == pytest.approx(f1_score(CODES[:40], predicted, average="macro"))
    assert 0 < known.size_band_log_loss < known.log_loss
    unknown = score_candidates(("prior",), raw, raw, {"prior": None}, CODES, GROUPS)[0]
    assert math.isnan(unknown.size_band_log_loss)
    assert math.isnan(unknown.size_band_macro_f1)

from __future__ import annotations

import numpy as np
import pytest
from crepes import ConformalClassifier
from scipy.special import softmax
from scipy.stats import binom

from seamtell.models.conformal import ConformalScores, leave_one_out_p_values, nonconformity


def draw(n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities of a poor classifier, and true classes of unequal shares."""
    codes = rng.choice(3, n, p=[0.6, 0.25, 0.15])
    return softmax(rng.normal(size=(n, 3)) * 0.8 + 1.5 * np.eye(3)[codes], axis=1), codes


def test_p_values_are_those_of_crepes() -> None:
    rng = np.random.default_rng(1)
    probabilities, codes = draw(80, rng)
    new, _ = draw(40, rng)
    scores, new_scores = nonconformity(probabilities), nonconformity(new)
    ours = ConformalScores.collect(scores, codes).p_values(new_scores)
    for c in range(3):
        one_class = ConformalClassifier().fit(scores[codes == c, c])
        theirs = one_class.predict_p(new_scores[:, [c]], smoothing=False)
        assert ours[:, c] == pytest.approx(theirs[:, 0], abs=1e-12)


def test_scores_are_the_margin_to_the_best_other_class() -> None:
    probabilities, _ = draw(30, np.random.default_rng(2))
    for row, scores in zip(probabilities, nonconformity(probabilities), strict=True):
        for c in range(3):
            assert scores[c] == pytest.approx(max(np.delete(row, c)) - row[c], abs=1e-15)


def test_equal_best_probabilities_score_zero() -> None:
    assert nonconformity(np.array([[0.4, 0.4, 0.2]])).round(12).tolist() == [[0.0, 0.0, 0.2]]


@pytest.mark.parametrize("error_rate", [0.05, 0.1, 0.3])
def test_each_class_is_covered_as_the_guarantee_says(error_rate: float) -> None:
    # Vovk, Gammerman and Shafer, "Algorithmic Learning in a Random World" (2005), section 4.5:
    # the chance that a class-conditional set misses its own class is at most the error rate.
    rng = np.random.default_rng(3)
    trials, missed = np.zeros(3, dtype=int), np.zeros(3, dtype=int)
    for _ in range(2500):  # a fresh calibration set and a fresh indication in every draw
        probabilities, codes = draw(61, rng)
        scores = nonconformity(probabilities)
        pool = ConformalScores.collect(scores[:-1], codes[:-1])
        own = codes[-1]
        trials[own] += 1
        missed[own] += pool.p_values(scores[-1:])[0, own] <= error_rate
    for c in range(3):
        # One chance in 10,000 that an honest implementation fails here.
        assert missed[c] <= binom.ppf(0.9999, trials[c], error_rate)


def test_coverage_is_not_needlessly_high_for_a_common_class() -> None:
    rng = np.random.default_rng(4)
    probabilities, codes = draw(900, rng)
    new, truth = draw(3000, rng)
    p_values = ConformalScores.collect(nonconformity(probabilities), codes).p_values(nonconformity(new))
    missed = (p_values[truth == 0, 0] <= 0.1).mean()
    assert 0.06 < missed < 0.14


def test_leaving_one_out_is_what_a_loop_does() -> None:
    probabilities, codes = draw(25, np.random.default_rng(5))
    scores = nonconformity(probabilities)
    p_values = leave_one_out_p_values(scores, codes)
    for i in range(25):
        others = np.arange(25) != i
        for c in range(3):
            pool = scores[others & (codes == c), c]
            assert p_values[i, c] == pytest.approx((1 + (pool >= scores[i, c]).sum()) / (len(pool) + 1))


def test_a_class_with_too_few_sections_can_never_be_ruled_out() -> None:
    pool = ConformalScores((tuple([-0.9] * 8), tuple([-0.9] * 9)))
    assert pool.p_values(np.array([[1.0, 1.0]])).tolist() == [[1 / 9, 1 / 10]]


def test_the_document_gives_the_same_scores_back() -> None:
    probabilities, codes = draw(25, np.random.default_rng(6))
    pool = ConformalScores.collect(nonconformity(probabilities), codes)
    assert ConformalScores.from_document(pool.to_document(("a", "b", "c")), ("a", "b", "c")) == pool

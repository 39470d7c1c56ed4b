from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import log_loss

from seamtell.features.descriptors import registry
from seamtell.features.errors import SeamtellError
from seamtell.models.hand_rule import RATIO_DESCRIPTOR, WIDTH_DESCRIPTOR, FittedHandRule, HandRule

NAMES = ("other", WIDTH_DESCRIPTOR, RATIO_DESCRIPTOR)


def four_fields(n: int = 200) -> tuple[np.ndarray, np.ndarray]:
    """Class = 2 * (width > 2) + (ratio > 5), with a gap at the thresholds."""
    rng = np.random.default_rng(1)
    codes = np.arange(n) % 4  # as many of each, so that the median lies in either gap
    width = np.where(codes >= 2, 3.0, 1.0) + rng.uniform(-0.5, 0.5, n)
    ratio = np.where(codes % 2 == 1, 10.0, 0.0) + rng.uniform(-3, 3, n)
    return np.column_stack([rng.normal(size=n), width, ratio]), codes


def fit(values: np.ndarray, codes: np.ndarray, k: int = 4) -> FittedHandRule:
    return HandRule().fit(values, codes, np.ones(len(codes)), NAMES, tuple("abcd"[:k]), 1)


def test_the_descriptors_it_reads_are_in_the_registry_and_open_to_models() -> None:
    assert {RATIO_DESCRIPTOR, WIDTH_DESCRIPTOR} <= set(registry.model_names())


def test_four_separate_fields_are_told_apart() -> None:
    values, codes = four_fields()
    assert (fit(values, codes).predict_proba(values).argmax(axis=1) == codes).all()


def test_a_field_answers_with_its_smoothed_shares() -> None:
    values, codes = four_fields()
    fitted = fit(values, codes)
    for field in range(4):
        inside = codes == field
        expected = (np.bincount(codes[inside], minlength=4) + 1) / (inside.sum() + 4)
        assert fitted.leaves[field] == pytest.approx(expected)


def test_its_thresholds_are_the_best_of_all_pairs_by_the_loss_of_scikit_learn() -> None:
    rng = np.random.default_rng(2)
    codes = rng.integers(0, 3, 80)
    values = rng.normal(size=(80, 3)) + codes[:, None] * [0, 0.7, 1.1]

    def loss(width_above: float, ratio_above: float, scored_by_scikit_learn: bool = False) -> float:
        fields = 2 * (values[:, 1] > width_above) + (values[:, 2] > ratio_above)
        shares = np.ones((4, 3))
        np.add.at(shares, (fields, codes), 1)
        probabilities = (shares / shares.sum(axis=1, keepdims=True))[fields]
        if scored_by_scikit_learn:
            return log_loss(codes, probabilities)
        return float(-np.log(probabilities[np.arange(80), codes]).mean())

    steps = np.linspace(0, 1, 21)[1:-1]
    pairs = [(w, r) for w in np.quantile(values[:, 1], steps) for r in np.quantile(values[:, 2], steps)]
    fitted = fit(values, codes, k=3)
    ours = loss(fitted.width_above, fitted.ratio_above, scored_by_scikit_learn=True)
    assert ours == pytest.approx(min(loss(*pair) for pair in pairs))


def test_a_table_without_its_descriptors_is_refused_by_name() -> None:
    with pytest.raises(SeamtellError, match=WIDTH_DESCRIPTOR):
        HandRule().fit(np.zeros((2, 1)), np.array([0, 1]), np.ones(2), (RATIO_DESCRIPTOR,), ("a", "b"), 1)

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import softmax
from sklearn.metrics import log_loss

from seamtell.models.calibration import Calibration, cross_calibrated, fit_calibration


def draw(n: int, seed: int, k: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """True probabilities and labels drawn from them."""
    rng = np.random.default_rng(seed)
    truth = softmax(rng.normal(size=(n, k)) * 1.5, axis=1)
    return truth, np.array([rng.choice(k, p=p) for p in truth])


def test_an_overconfident_candidate_gets_its_temperature_back() -> None:
    truth, codes = draw(4000, 1)
    sharpened = softmax(np.log(truth) * 2.5, axis=1)
    fitted = fit_calibration(sharpened, codes)
    assert fitted.temperature == pytest.approx(2.5, rel=0.08)
    assert np.abs(fitted.apply(sharpened) - truth).max() < 0.06


def test_balanced_weights_are_undone_as_bayes_rule_says() -> None:
    # Posterior under equal shares, labels drawn under shares q: the odds change by q (Bayes' rule).
    balanced, _ = draw(6000, 2)
    shares = np.array([0.6, 0.3, 0.1])
    true = balanced * shares / (balanced * shares).sum(axis=1, keepdims=True)
    rng = np.random.default_rng(3)
    codes = np.array([rng.choice(3, p=p) for p in true])
    fitted = fit_calibration(balanced, codes)
    bias = np.array(fitted.bias)
    assert bias - bias.mean() == pytest.approx(np.log(shares) - np.log(shares).mean(), abs=0.12)


def test_mean_calibrated_probabilities_are_the_class_shares() -> None:
    # The likelihood equations of the biases (any textbook on logistic regression), up to the weak prior.
    truth, codes = draw(3000, 4)
    mean = fit_calibration(truth**2 / (truth**2).sum(axis=1, keepdims=True), codes).apply(truth).mean(axis=0)
    fitted = fit_calibration(truth, codes).apply(truth).mean(axis=0)
    assert fitted == pytest.approx(np.bincount(codes) / 3000, abs=1e-4)
    assert mean.sum() == pytest.approx(1)


def test_no_other_calibration_nearby_is_better_by_the_loss_of_scikit_learn() -> None:
    truth, codes = draw(60, 5)
    raw = softmax(np.log(truth) * 1.7 + [0.5, 0.0, -0.5], axis=1)

    def objective(parameters: np.ndarray) -> float:
        calibrated = softmax(np.log(raw) / np.exp(parameters[0]) + parameters[1:], axis=1)
        prior = parameters[0] ** 2 / 2 + (parameters[1:] ** 2).sum() / (2 * 3**2)
        return 60 * log_loss(codes, calibrated, labels=[0, 1, 2]) + prior

    fitted = fit_calibration(raw, codes)
    best = np.array([np.log(fitted.temperature), *fitted.bias])
    for step in np.vstack([np.eye(4), -np.eye(4)]) * 1e-3:
        assert objective(best) < objective(best + step)


def test_a_candidate_that_never_errs_gets_a_finite_sharpening() -> None:
    codes = np.arange(30) % 3
    fitted = fit_calibration(np.eye(3)[codes], codes)
    assert np.isfinite(fitted.apply(np.eye(3))).all()
    assert fitted.temperature > 0


def test_a_candidate_that_says_nothing_is_calibrated_to_the_class_shares() -> None:
    codes = np.array([0] * 60 + [1] * 30 + [2] * 10)
    calibrated = fit_calibration(np.full((100, 3), 1 / 3), codes).apply(np.full((1, 3), 1 / 3))
    assert calibrated[0] == pytest.approx([0.6, 0.3, 0.1], abs=0.01)


def test_no_row_calibrates_itself() -> None:
    truth, codes = draw(60, 6)
    folds = np.arange(60) % 3
    before = cross_calibrated(truth, codes, folds)
    changed = codes.copy()
    changed[0] = (codes[0] + 1) % 3
    after = cross_calibrated(truth, changed, folds)
    assert (after[folds == 0] == before[folds == 0]).all()
    assert (after[folds == 1] != before[folds == 1]).any()


def test_the_document_gives_the_same_calibration_back() -> None:
    fitted = fit_calibration(*draw(50, 7))
    assert Calibration.from_document(fitted.to_document()) == fitted

"""The mix on the simplex, against Rogan and Gladen's formula and a general optimiser."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from seamtell.pipeline.flaw_mix.simplex_fit import mix_on_simplex, rogan_gladen


def two_classes(sensitivity: float, specificity: float) -> np.ndarray:
    return np.array([[sensitivity, 1 - sensitivity], [1 - specificity, specificity]])


@given(st.floats(0.55, 0.99), st.floats(0.55, 0.99), st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_two_classes_give_what_rogan_and_gladen_published(sensitivity, specificity, positive):
    # Rogan and Gladen (1978): (p + specificity - 1) / (sensitivity + specificity - 1), cut off at 0 and 1
    formula = np.clip((positive + specificity - 1) / (sensitivity + specificity - 1), 0, 1)
    mix = mix_on_simplex(two_classes(sensitivity, specificity), np.array([positive, 1 - positive]))
    assert mix[0] == pytest.approx(formula, abs=2e-4)
    assert rogan_gladen(positive, sensitivity, specificity) == pytest.approx(formula, abs=1e-12)


def test_a_worked_example_of_apparent_and_true_prevalence():
    # From memory, of the kind in veterinary epidemiology: 20 % positive, sensitivity 0.90, specificity 0.95
    assert rogan_gladen(0.20, 0.90, 0.95) == pytest.approx(0.15 / 0.85, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_five_classes_reach_the_likelihood_that_scipy_reaches(seed):
    rng = np.random.default_rng(seed)
    confusion = 0.6 * np.eye(5, 6) + 0.4 * rng.dirichlet(np.ones(6), 5)
    answers = rng.dirichlet(np.ones(6))

    def loss(free: np.ndarray) -> float:
        mix = np.exp(free) / np.exp(free).sum()
        return float(-(answers * np.log(mix @ confusion)).sum())

    best = min(
        minimize(
            loss, rng.normal(size=5), method="Nelder-Mead", options={"maxiter": 20000, "fatol": 1e-12}
        ).fun
        for _ in range(3)
    )
    mix = mix_on_simplex(confusion, answers)
    assert mix.sum() == pytest.approx(1.0)
    assert (mix >= 0).all()
    assert -(answers * np.log(mix @ confusion)).sum() <= best + 1e-6


def test_rows_that_are_no_probabilities_are_refused():
    with pytest.raises(ValueError, match="do not sum to one"):
        mix_on_simplex(np.array([[0.9, 0.2], [0.1, 0.9]]), np.array([0.5, 0.5]))

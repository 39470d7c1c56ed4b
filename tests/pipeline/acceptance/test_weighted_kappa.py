"""Weighted kappa against scikit-learn, and its interval."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.weighted_kappa import (
    cost_weighted_kappa,
    linear_weights,
    quadratic_weights,
    score_weighted_kappa,
    weighted_kappa,
)
from seamtell.pipeline.evaluation.agreement import cohen_kappa
from seamtell.pipeline.evaluation.bootstrap import Plan

NAMES = ["a", "b", "c", "d"]


def _answers(seed: int, n: int = 80) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    truth = rng.integers(0, 4, size=n)
    return truth, np.where(rng.random(n) < 0.6, truth, rng.integers(0, 4, size=n))


def _table(truth: np.ndarray, answer: np.ndarray) -> np.ndarray:
    table = np.zeros((1, 4, 4))
    np.add.at(table[0], (truth, answer), 1)
    return table


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("weights", "name"), [(linear_weights, "linear"), (quadratic_weights, "quadratic")])
def test_linear_and_quadratic_weights_give_the_kappa_of_scikit_learn(seed: int, weights, name: str) -> None:
    # Outside reference: sklearn.metrics.cohen_kappa_score(weights=...).
    truth, answer = _answers(seed)
    ours = weighted_kappa(_table(truth, answer), weights(4))[0]
    assert ours == pytest.approx(cohen_kappa_score(truth, answer, weights=name), abs=1e-12)


def test_equal_weights_give_the_unweighted_kappa() -> None:
    # Outside reference: sklearn.metrics.cohen_kappa_score without weights.
    truth, answer = _answers(9)
    table = _table(truth, answer)
    ours = weighted_kappa(table, 3.0 * (1 - np.eye(4)))[0]
    assert ours == pytest.approx(cohen_kappa_score(truth, answer), abs=1e-12)
    assert ours == pytest.approx(cohen_kappa(table)[0], abs=1e-12)


def test_two_examiners_of_a_hundred_with_weights_by_hand() -> None:
    # By hand, in thirds: observed (10 * 1 + 5 * 2) / 60 = 1/3; by chance, with equal margins of
    # 20 in 60 on the one side and (20, 20, 20) on the other, the mean distance of three classes is 8/9.
    table = np.array([[[15.0, 0.0, 5.0], [5.0, 15.0, 0.0], [0.0, 5.0, 15.0]]])
    assert weighted_kappa(table, linear_weights(3))[0] == pytest.approx(1 - (20 / 60) / (8 / 9))


def test_nothing_to_disagree_about_is_not_defined() -> None:
    table = np.zeros((2, 3, 3))
    table[0, 1, 1] = 8
    assert np.isnan(weighted_kappa(table, linear_weights(3))).all()


def test_the_estimate_is_that_of_all_sections_and_lies_in_its_interval() -> None:
    truth, answer = _answers(3)
    groups = np.array([f"g{i // 4:02d}" for i in range(80)])
    names = np.array(NAMES)
    figure = score_weighted_kappa(
        names[truth], names[answer], groups, linear_weights(4), Plan(draws=500), rows=NAMES, columns=NAMES
    )
    expected = cohen_kappa_score(truth, answer, weights="linear")
    assert figure.estimate == pytest.approx(expected, abs=1e-12)
    assert figure.low < expected < figure.high <= 1.0
    assert "20 groups" in figure.method


def test_a_perfect_sample_keeps_an_interval() -> None:
    truths = np.array(["pinhole", "mismatch"] * 10)
    groups = np.array([f"g{i:02d}" for i in range(20)])
    figure = cost_weighted_kappa(truths, truths, groups, CostTable(), Plan(draws=300))
    assert figure.estimate == 1.0
    assert figure.low < 0.8


def test_a_dear_mistake_weighs_more_than_a_cheap_one() -> None:
    truths = np.array(["lack_of_fusion", "mismatch", "pinhole", "sound"] * 10)
    groups = np.array([f"g{i:02d}" for i in range(40)])
    cheap, dear = truths.copy(), truths.copy()
    cheap[0], dear[0] = "mismatch", "sound"
    figures = [
        cost_weighted_kappa(truths, answers, groups, CostTable(), Plan(draws=200)).estimate
        for answers in (cheap, dear)
    ]
    assert figures[0] > figures[1]


def test_no_section_is_unknown() -> None:
    none = np.array([], dtype=str)
    assert cost_weighted_kappa(none, none, none, CostTable(), Plan()).unknown == "no case"

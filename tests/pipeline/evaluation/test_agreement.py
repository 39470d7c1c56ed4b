"""Macro-F1, kappa and log loss against scikit-learn and a published example."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score, f1_score, log_loss

from seamtell.pipeline.evaluation.agreement import (
    cohen_kappa,
    log_loss_rows,
    macro_f1,
    score_agreement,
    score_log_loss,
)
from seamtell.pipeline.evaluation.bootstrap import Plan

CLASSES = ("pinhole", "edge_notch", "sound")
ANSWERS = (*CLASSES, "missed", "unclassified")
PAIRS = st.lists(st.tuples(st.sampled_from(CLASSES), st.sampled_from(ANSWERS)), min_size=2, max_size=60)
QUICK = Plan(draws=50)


def _score(pairs: list[tuple[str, str]]):
    truths = np.array([truth for truth, _ in pairs])
    answers = np.array([answer for _, answer in pairs])
    groups = np.array([f"g{i % 7}" for i in range(len(pairs))])
    return truths, answers, score_agreement(truths, answers, groups, CLASSES, QUICK)


@settings(max_examples=60, deadline=None)
@given(PAIRS)
def test_macro_f1_is_that_of_scikit_learn_over_the_classes_that_have_sections(pairs) -> None:
    # Outside reference: sklearn.metrics.f1_score.
    truths, answers, agreement = _score(pairs)
    present = [name for name in CLASSES if name in truths]
    expected = f1_score(truths, answers, labels=present, average="macro", zero_division=0)
    assert agreement.macro_f1.estimate == pytest.approx(expected, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(PAIRS.filter(lambda pairs: len({name for pair in pairs for name in pair}) > 1))
def test_kappa_is_that_of_scikit_learn_with_missed_as_a_category_of_its_own(pairs) -> None:
    # Outside reference: sklearn.metrics.cohen_kappa_score; it counts missed and unclassified apart,
    # we as one column of "no label", and no row has either: the chance term is the same.
    truths, answers, agreement = _score(pairs)
    assert agreement.kappa.estimate == pytest.approx(cohen_kappa_score(truths, answers), abs=1e-12)


def test_kappa_of_the_textbook_table_is_point_four() -> None:
    # The widely printed worked example of two readers on 50 cases: 20, 5, 10, 15 -> 0.40 (from memory).
    assert cohen_kappa(np.array([[[20.0, 5.0], [10.0, 15.0]]]))[0] == pytest.approx(0.4)


def test_kappa_of_cohens_own_example_is_the_published_point_four_nine_two() -> None:
    # Cohen (1960), the example of three categories: p0 = 0.70, chance 0.41, kappa 0.492 (from memory).
    table = np.array([[[88.0, 14.0, 18.0], [10.0, 40.0, 10.0], [2.0, 6.0, 12.0]]])
    assert cohen_kappa(table)[0] == pytest.approx(0.492, abs=6e-4)


def test_kappa_of_one_class_alone_is_not_defined() -> None:
    assert np.isnan(cohen_kappa(np.array([[[5.0, 0.0], [0.0, 0.0]]]))[0])


def test_macro_f1_without_sections_is_not_defined() -> None:
    assert np.isnan(macro_f1(np.zeros((1, 2, 3)))[0])


@settings(max_examples=50, deadline=None)
@given(st.integers(2, 40), st.integers(0, 10_000))
def test_log_loss_is_that_of_scikit_learn(n: int, seed: int) -> None:
    # Outside reference: sklearn.metrics.log_loss.
    rng = np.random.default_rng(seed)
    probabilities = rng.dirichlet(np.ones(3), size=n)
    truths = rng.choice(CLASSES, size=n)
    order = sorted(CLASSES)
    columns = [CLASSES.index(name) for name in order]
    expected = log_loss(truths, probabilities[:, columns], labels=order)
    assert log_loss_rows(truths, probabilities, CLASSES).mean() == pytest.approx(expected, abs=1e-12)


def test_a_class_that_the_model_does_not_know_has_no_log_loss() -> None:
    losses = log_loss_rows(["mismatch", "sound"], np.array([[0.2, 0.3, 0.5]] * 2), CLASSES)
    assert np.isnan(losses[0])
    assert losses[1] == pytest.approx(np.log(2))


def test_one_sure_mistake_does_not_make_the_log_loss_infinite() -> None:
    assert np.isfinite(log_loss_rows(["sound"], np.array([[1.0, 0.0, 0.0]]), CLASSES))[0]


def test_log_loss_says_how_many_sections_it_rests_on() -> None:
    figure = score_log_loss(np.array([0.1, np.nan, 0.3]), np.array(["a", "b", "c"]), QUICK)
    assert figure.n == 2
    assert figure.estimate == pytest.approx(0.2)


def test_a_missed_flaw_lowers_macro_f1() -> None:
    truths = [("pinhole", "pinhole")] * 5 + [("sound", "sound")] * 5
    perfect = _score(truths)[2].macro_f1.estimate
    with_missed = _score([*truths, ("pinhole", "missed")])[2].macro_f1.estimate
    assert with_missed < perfect == 1.0


def test_a_perfect_small_sample_does_not_get_a_perfect_interval() -> None:
    agreement = _score([("pinhole", "pinhole")] * 6 + [("sound", "sound")] * 6)[2]
    for figure in (agreement.macro_f1, agreement.kappa):
        assert figure.estimate == pytest.approx(1.0)
        assert figure.low < 0.6
        assert "widened" in figure.method

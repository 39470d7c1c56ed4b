"""A model that leaks the answer is noticed, an ordinary one is not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import LeaveOneGroupOut, cross_val_predict
from sklearn.neighbors import KNeighborsClassifier

from seamtell.pipeline.acceptance.implausible import (
    Told,
    auc,
    implausible_warnings,
    label_error_of_agreement,
    lone_descriptors,
    neighbour_macro_f1,
)

CLASSES = np.array(["edge_notch", "lack_of_fusion", "mismatch", "pinhole", "sound"])
NAMES = [f"d{i:02d}" for i in range(20)]


def _shop(seed: int, n: int = 180) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Descriptors that tell the classes about as well as the demo's do: macro-F1 near 0.8."""
    rng = np.random.default_rng(seed)
    code = rng.integers(0, 5, size=n)
    centres = np.random.default_rng(99).normal(size=(5, 20)) * (np.arange(20) < 8)
    values = 0.85 * centres[code] + rng.normal(size=(n, 20))
    return values, CLASSES[code], np.array([f"coil:{i // 2:03d}" for i in range(n)])


def _told(values: np.ndarray, truths: np.ndarray) -> Told:
    """Answers of a logistic regression to the newer half, trained on the older half."""
    half = len(truths) // 2
    model = LogisticRegression(max_iter=300).fit(values[:half], truths[:half])
    return Told("held-out", truths[half:], model.predict(values[half:]).astype(str))


def _warnings(values: np.ndarray, truths: np.ndarray, groups: np.ndarray, **extra: float) -> tuple[str, ...]:
    names = [f"d{i:02d}" for i in range(values.shape[1])]
    return implausible_warnings([_told(values, truths)], values, names, truths, groups, **extra)


@pytest.mark.parametrize("seed", range(20))
def test_a_descriptor_that_holds_the_answer_is_named_every_time(seed: int) -> None:
    values, truths, groups = _shop(seed)
    leak = np.searchsorted(CLASSES, truths) + 0.02 * np.random.default_rng(seed).normal(size=len(truths))
    found = _warnings(np.column_stack([values, leak]), truths, groups)
    assert any("'d20' alone tells all classes apart" in words for words in found)


@pytest.mark.parametrize("seed", range(20))
def test_ordinary_descriptors_are_not_suspected(seed: int) -> None:
    values, truths, groups = _shop(seed)
    assert _warnings(values, truths, groups, label_error=0.03) == ()


@pytest.mark.parametrize("seed", range(20))
def test_a_perfect_result_is_doubted_where_neighbours_differ(seed: int) -> None:
    values, truths, groups = _shop(seed)
    found = implausible_warnings([Told("held-out", truths, truths)], values, NAMES, truths, groups)
    assert len(found) == 1
    assert "180 of 180 held-out sections labelled right" in found[0]
    assert "sections with alike descriptors often differ in class" in found[0]


def test_the_answer_in_scrambled_numbers_is_named_too() -> None:
    # Each class owns several separate values, so no ordering of the classes shows in the descriptor.
    values, truths, groups = _shop(1)
    rng = np.random.default_rng(2)
    owned = rng.permutation(25).reshape(5, 5)
    leak = owned[np.searchsorted(CLASSES, truths), rng.integers(0, 5, size=len(truths))]
    found = lone_descriptors(np.column_stack([values, leak]), [*NAMES, "leak"], truths, groups)
    assert [(one.name, one.label) for one in found] == [("leak", "")]
    assert found[0].auc < 0.9


def test_the_answer_in_what_is_missing_is_named_for_its_class() -> None:
    values, truths, groups = _shop(3)
    leak = np.where(truths == "mismatch", np.nan, 0.0)
    found = lone_descriptors(np.column_stack([values, leak]), [*NAMES, "leak"], truths, groups)
    assert [(one.name, one.label, one.auc) for one in found] == [("leak", "mismatch", 1.0)]


def test_labels_that_are_wrong_now_and_then_bound_what_a_model_can_reach() -> None:
    # Outside reference: scipy.stats.binom; 120 of 120 right with 5 % wrong labels has a chance of 0.002.
    truths = np.resize(CLASSES, 120)
    table = np.zeros((0, 1)), ["d"], np.array([], dtype=str), np.array([], dtype=str)
    found = implausible_warnings([Told("held-out", truths, truths)], *table, label_error=0.05)
    assert f"a chance of {binom.sf(119, 120, 0.95):.1g} only" in found[0]
    few = Told("held-out", truths[:40], truths[:40])
    assert implausible_warnings([few], *table, label_error=0.05) == ()


def test_flaws_that_were_not_indicated_do_not_hide_a_leak() -> None:
    values, truths, groups = _shop(4)
    answers = truths.astype(object).copy()
    answers[:30] = "missed"
    found = implausible_warnings(
        [Told("held-out", truths, answers.astype(str))], values, NAMES, truths, groups
    )
    assert "150 of 150" in found[0]


def test_a_handful_of_sections_is_not_judged() -> None:
    values, truths, groups = _shop(5, n=15)
    assert implausible_warnings([Told("held-out", truths, truths)], values, NAMES, truths, groups) == ()


@pytest.mark.parametrize("seed", range(3))
def test_the_area_is_that_of_scikit_learn(seed: int) -> None:
    # Outside reference: sklearn.metrics.roc_auc_score, the better way round; rounded values make ties.
    rng = np.random.default_rng(seed)
    first, second = rng.normal(size=30).round(1), rng.normal(0.5, size=50).round(1)
    theirs = roc_auc_score([1] * 30 + [0] * 50, np.concatenate([first, second]))
    assert auc(first, second) == pytest.approx(max(theirs, 1 - theirs), abs=1e-12)


def test_the_neighbours_are_those_of_scikit_learn() -> None:
    # Outside reference: KNeighborsClassifier(1) with LeaveOneGroupOut on the same ranks.
    from scipy.stats import rankdata
    from sklearn.metrics import f1_score

    values, truths, groups = _shop(6, n=80)
    ranks = rankdata(values, axis=0)
    told = cross_val_predict(
        KNeighborsClassifier(1, algorithm="brute"), ranks, truths, groups=groups, cv=LeaveOneGroupOut()
    )
    expected = f1_score(truths, told, average="macro")
    assert neighbour_macro_f1(values, truths, groups) == pytest.approx(expected, abs=1e-9)


def test_one_group_has_no_neighbours() -> None:
    values, truths, _ = _shop(7, n=30)
    assert neighbour_macro_f1(values, truths, np.full(30, "g")) is None


@pytest.mark.parametrize("error", [0.02, 0.1])
def test_label_error_follows_from_agreement_of_two_independent_examiners(error: float) -> None:
    # Simulation: two examiners who err independently, each time towards a different class.
    rng = np.random.default_rng(8)
    wrong = rng.random((2, 200_000)) < error
    agree = float(np.mean(~wrong[0] & ~wrong[1]))
    assert label_error_of_agreement(agree) == pytest.approx(error, rel=0.05)


def test_an_agreement_above_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"got an agreement of 1\.2"):
        label_error_of_agreement(1.2)

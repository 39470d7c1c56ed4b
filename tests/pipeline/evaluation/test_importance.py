"""Which descriptors matter, on a classifier whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.inspection import permutation_importance
from sklearn.linear_model import LogisticRegression

from seamtell.features.descriptors import registry
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.importance import Shuffler, descriptor_importance, family_importance

CLASSES = ("pinhole", "sound")
NAMES = registry.names()[:4]


@pytest.fixture(scope="module")
def fitted():
    rng = np.random.default_rng(14)
    values = rng.normal(size=(160, 4))
    truths = np.where(values[:, 1] + 0.5 * rng.normal(size=160) > 0, "sound", "pinhole")
    model = LogisticRegression().fit(values, truths)
    return model, values, truths


def _shuffler(model, values, truths, repeats=10) -> Shuffler:
    groups = np.array([f"g{i // 4}" for i in range(len(values))])
    return Shuffler(model.predict_proba, values, truths, groups, CLASSES, Plan(draws=300), repeats)


def test_the_increase_is_that_of_scikit_learn(fitted) -> None:
    # Outside reference: sklearn.inspection.permutation_importance(scoring="neg_log_loss"); both are
    # means over random orders, 200 of them.
    model, values, truths = fitted
    expected = permutation_importance(
        model, values, truths, scoring="neg_log_loss", n_repeats=100, random_state=0
    ).importances_mean
    shuffler = _shuffler(model, values, truths, repeats=100)
    ours = [shuffler.increase([column]).estimate for column in range(4)]
    assert ours == pytest.approx(expected, abs=0.03)


def test_the_descriptor_that_decides_comes_first_with_its_meaning(fitted) -> None:
    first = descriptor_importance(_shuffler(*fitted), NAMES)[0]
    about = registry.by_name(NAMES[1])
    assert (first.name, first.unit, first.meaning) == (about.name, about.unit, about.meaning)
    assert first.log_loss_increase.low > 0


def test_only_the_top_descriptors_are_kept(fitted) -> None:
    assert len(descriptor_importance(_shuffler(*fitted), NAMES, top=2)) == 2


def test_a_family_is_shuffled_as_a_whole(fitted) -> None:
    shuffler = _shuffler(*fitted)
    families = family_importance(shuffler, NAMES)
    assert sum(one.descriptors for one in families) == len(NAMES)
    (only,) = [one for one in families if one.family == registry.by_name(NAMES[1]).family.value]
    columns = [c for c, name in enumerate(NAMES) if registry.by_name(name).family.value == only.family]
    assert only.log_loss_increase == shuffler.increase(columns)


def test_the_same_seed_gives_the_same_figures(fitted) -> None:
    assert _shuffler(*fitted).increase([1]) == _shuffler(*fitted).increase([1])


def test_without_sections_the_figures_are_unknown() -> None:
    empty = _shuffler(LogisticRegression(), np.empty((0, 4)), np.empty(0, dtype=str))
    assert empty.increase([0]).estimate is None

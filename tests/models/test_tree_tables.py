"""Trees as tables against LightGBM itself: the same scores to the last bit."""

from __future__ import annotations

import lightgbm
import numpy as np
import pytest

from seamtell.models.boosted_trees import FittedBoostedTrees
from seamtell.models.tree_tables import TreeTables

RNG = np.random.default_rng(12)
COLUMNS, CLASSES = 7, 3


def boosted(leaves: int = 6, rounds: int = 20, n: int = 300, **more) -> lightgbm.Booster:
    values = RNG.normal(size=(n, COLUMNS))
    values[:, 1] = np.round(values[:, 1])  # ties, and thresholds at zero
    codes = (np.digitize(values[:, 0], [-0.4, 0.4]) + (values[:, 1] > 0)) % CLASSES
    parameters = {
        "objective": "multiclass",
        "num_class": CLASSES,
        "num_leaves": leaves,
        "min_data_in_leaf": 2,
        "verbosity": -1,
        "num_threads": 1,
        **more,
    }
    categorical = parameters.pop("categorical", "auto")
    data = lightgbm.Dataset(
        np.abs(np.round(values)) if categorical != "auto" else values, codes, categorical_feature=categorical
    )
    return lightgbm.train(parameters, data, num_boost_round=rounds)


@pytest.fixture(scope="module")
def booster() -> lightgbm.Booster:
    return boosted()


def awkward(booster: lightgbm.Booster) -> np.ndarray:
    """Rows at, just above and just below every threshold, near zero, and far out."""
    text = booster.model_to_string()
    cuts = np.array(
        [float(x) for line in text.splitlines() if line.startswith("threshold=") for x in line[10:].split()]
    )
    near = np.concatenate([cuts, np.nextafter(cuts, np.inf), np.nextafter(cuts, -np.inf)])
    tiny = np.array([0.0, -0.0, 1e-35, -1e-35, 1.01e-35, -1.01e-35, 5e-324, 1e-300, -1e-300])
    far = np.array([1e308, -1e308, 1.7e308])
    return RNG.choice(np.concatenate([near, tiny, far]), size=(4000, COLUMNS))


def test_probabilities_are_those_of_lightgbm(booster: lightgbm.Booster) -> None:
    tables = TreeTables.of_text(booster.model_to_string())
    assert tables is not None
    for values in (RNG.normal(size=(777, COLUMNS)), awkward(booster)):
        assert np.abs(tables.probabilities(values) - booster.predict(values)).max() < 1e-15


def test_probabilities_follow_from_lightgbms_scores_to_their_last_bits(booster: lightgbm.Booster) -> None:
    # The last bit of exp is the mathematics library's own affair; equal scores give equal bits.
    values = awkward(booster)
    tables = TreeTables.of_text(booster.model_to_string())
    raw = booster.predict(values, raw_score=True)
    told = tables.probabilities(values)
    _, first, index = np.unique(raw, axis=0, return_index=True, return_inverse=True)
    assert (told == told[first][index.ravel()]).all()
    expected = np.exp(raw - raw.max(axis=1, keepdims=True))
    expected = expected / expected.sum(axis=1, keepdims=True)
    np.testing.assert_allclose(told, expected, rtol=4e-16, atol=0)


@pytest.mark.parametrize("size", [1, 5, 31, 32, 33, 500])
def test_a_row_has_the_same_bits_in_any_batch(booster: lightgbm.Booster, size: int) -> None:
    tables = TreeTables.of_text(booster.model_to_string())
    values = awkward(booster)[:1000]
    parts = np.vstack([tables.probabilities(values[i : i + size]) for i in range(0, 1000, size)])
    assert (parts == tables.probabilities(values)).all()


@pytest.mark.parametrize("leaves", [2, 3, 4, 5, 6])
def test_smaller_trees_are_asked_through_tables_too(leaves: int) -> None:
    small = boosted(leaves, rounds=8)
    tables = TreeTables.of_text(small.model_to_string())
    values = awkward(small)
    assert np.abs(tables.probabilities(values) - small.predict(values)).max() < 1e-15


def test_trees_without_a_split_are_constants() -> None:
    stumps = boosted(rounds=2, min_data_in_leaf=1000)
    tables = TreeTables.of_text(stumps.model_to_string())
    values = RNG.normal(size=(9, COLUMNS))
    assert tables is not None
    assert np.abs(tables.probabilities(values) - stumps.predict(values)).max() < 1e-15


@pytest.mark.parametrize(
    "other",
    [
        {"leaves": 7},
        {"linear_tree": True},
        {"boosting": "rf", "bagging_freq": 1, "bagging_fraction": 0.5},
        {"categorical": [1], "min_data_per_group": 1, "cat_smooth": 1.0},
        {"objective": "multiclassova"},
        {"zero_as_missing": True},
    ],
)
def test_other_kinds_of_trees_are_left_to_lightgbm(other: dict) -> None:
    unlike = boosted(rounds=5, **other)
    assert TreeTables.of_text(unlike.model_to_string()) is None
    values = np.abs(np.round(RNG.normal(size=(50, COLUMNS))))
    assert (
        FittedBoostedTrees(unlike.model_to_string()).predict_proba(values) == unlike.predict(values)
    ).all()


def test_text_that_is_damaged_gives_no_tables(booster: lightgbm.Booster) -> None:
    text = booster.model_to_string()
    for old, new in (
        ("num_class=3", "num_class=4"),
        ("\nleft_child=", "\nleft_child=0 0 0 0 0\nwas="),
        ("\nleaf_value=", "\nleaf_value=1 "),
        ("\nsplit_feature=", "\nsplit_feature=9"),
        ("\nthreshold=", "\nthreshold=x "),
        ("Tree=0", "Tree"),
    ):
        assert old in text
        assert TreeTables.of_text(text.replace(old, new)) is None, old


def test_another_number_of_descriptors_is_refused(booster: lightgbm.Booster) -> None:
    with pytest.raises(ValueError, match=r"got descriptors of shape \(2, 3\), expected \(n, 7\)"):
        TreeTables.of_text(booster.model_to_string()).probabilities(np.ones((2, 3)))

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.model_selection import PredefinedSplit, cross_val_predict
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import LabelledTable, ordered_classes
from seamtell.models.logistic import INVERSE_PENALTIES, Logistic
from seamtell.models.splits import grouped_folds


def parts(table: LabelledTable) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[str, ...]]:
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    return table.values, codes, balanced_weights(codes, len(classes)), classes


def test_probabilities_are_those_of_scikit_learn(public_table: LabelledTable) -> None:
    # Three classes (wine) and two (breast cancer), as scikit-learn carries them.
    values, codes, weights, classes = parts(public_table)
    fitted = Logistic().fit(values, codes, weights, public_table.names, classes, 1, public_table.groups)
    model = LogisticRegression(C=fitted.inverse_penalty, tol=1e-8, max_iter=20_000)
    reference = make_pipeline(StandardScaler(), model)
    reference.fit(values, codes, logisticregression__sample_weight=weights)
    assert np.abs(fitted.predict_proba(values) - reference.predict_proba(values)).max() < 1e-12


def test_the_penalty_is_the_one_that_scikit_learn_s_cross_validation_finds_best(shop_table) -> None:
    values, codes, weights, classes = parts(shop_table)
    fitted = Logistic().fit(values, codes, weights, shop_table.names, classes, 1, shop_table.groups)
    folds = PredefinedSplit(grouped_folds(shop_table.groups, codes, 3, 1))
    losses = []
    for inverse_penalty in INVERSE_PENALTIES:
        pipeline = make_pipeline(StandardScaler(), LogisticRegression(C=inverse_penalty, max_iter=20_000))
        probabilities = cross_val_predict(
            pipeline,
            values,
            codes,
            cv=folds,
            method="predict_proba",
            params={"logisticregression__sample_weight": weights},
        )
        losses.append(log_loss(codes, probabilities, sample_weight=weights))
    assert losses[INVERSE_PENALTIES.index(fitted.inverse_penalty)] == pytest.approx(min(losses), abs=1e-3)


def test_a_class_in_one_group_only_still_fits_with_the_fixed_penalty() -> None:
    rng = np.random.default_rng(1)
    values, codes = rng.normal(size=(9, 2)), np.array([0, 0, 0, 1, 1, 1, 1, 1, 1])
    groups = np.array(["a"] * 3 + list("bcdefg"))
    fitted = Logistic().fit(values, codes, np.ones(9), ("x", "y"), ("p", "q"), 1, groups)
    assert fitted.inverse_penalty == 0.1


def test_a_constant_descriptor_does_no_harm() -> None:
    rng = np.random.default_rng(2)
    values, codes = rng.normal(size=(40, 3)), np.arange(40) % 2
    values[:, 1] = 7.0
    fitted = Logistic().fit(values, codes, np.ones(40), ("x", "y", "z"), ("p", "q"), 1)
    assert np.isfinite(fitted.predict_proba(values)).all()

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import log_loss
from sklearn.utils.class_weight import compute_sample_weight

from seamtell.features.errors import SeamtellError
from seamtell.models.candidates import CANDIDATES, in_order
from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import LabelledTable, ordered_classes


def fit(name: str, table: LabelledTable, rows: np.ndarray):
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    weights = balanced_weights(codes[rows], len(classes))
    fitted = CANDIDATES[name]().fit(table.values[rows], codes[rows], weights, table.names, classes, 1)
    return fitted, codes


def test_candidates_are_listed_from_simplest_to_most_flexible() -> None:
    assert list(CANDIDATES) == ["prior", "hand_rule", "logistic", "lightgbm"]
    assert in_order(("lightgbm", "hand_rule")) == ("hand_rule", "lightgbm")


@pytest.mark.parametrize("names", [("forest",), ()])
def test_unknown_candidates_are_refused_with_what_there_is(names: tuple[str, ...]) -> None:
    with pytest.raises(SeamtellError, match="expected some of prior, hand_rule, logistic, lightgbm"):
        in_order(names)


def test_balanced_weights_are_those_of_scikit_learn() -> None:
    codes = np.array([0, 0, 0, 1, 2, 2, 0])
    assert balanced_weights(codes, 3) == pytest.approx(compute_sample_weight("balanced", codes))


@pytest.mark.parametrize("name", list(CANDIDATES))
def test_every_candidate_comes_back_from_its_files_bit_for_bit(name: str, shop_table: LabelledTable) -> None:
    fitted, _ = fit(name, shop_table, np.arange(len(shop_table)) % 2 == 0)
    files = fitted.to_files()
    again = type(fitted).from_files(files)
    assert (again.predict_proba(shop_table.values) == fitted.predict_proba(shop_table.values)).all()
    assert again.to_files() == files


@pytest.mark.parametrize("name", list(CANDIDATES))
def test_every_candidate_gives_one_distribution_a_row(name: str, shop_table: LabelledTable) -> None:
    fitted, _ = fit(name, shop_table, np.arange(len(shop_table)) % 2 == 0)
    probabilities = fitted.predict_proba(shop_table.values)
    assert probabilities.shape == (len(shop_table), 5)
    assert (probabilities >= 0).all()
    assert probabilities.sum(axis=1) == pytest.approx(1)


@pytest.mark.parametrize("name", list(CANDIDATES))
def test_the_same_fit_gives_the_same_bytes(name: str, shop_table: LabelledTable) -> None:
    rows = np.arange(len(shop_table)) % 3 > 0
    assert fit(name, shop_table, rows)[0].to_files() == fit(name, shop_table, rows)[0].to_files()


@pytest.mark.parametrize("name", list(CANDIDATES))
def test_a_row_answers_alone_as_it_does_in_a_batch(name: str, shop_table: LabelledTable) -> None:
    fitted, _ = fit(name, shop_table, np.arange(len(shop_table)) % 2 == 0)
    together = fitted.predict_proba(shop_table.values)
    alone = np.vstack([fitted.predict_proba(row[None]) for row in shop_table.values])
    assert (alone == together).all()


@pytest.mark.parametrize("name", ["logistic", "lightgbm"])
def test_learning_candidates_beat_the_prior_on_data_from_outside(
    name: str, public_table: LabelledTable
) -> None:
    train = np.arange(len(public_table)) % 3 > 0
    losses = {}
    for candidate in ("prior", name):
        fitted, codes = fit(candidate, public_table, train)
        losses[candidate] = log_loss(codes[~train], fitted.predict_proba(public_table.values[~train]))
    assert losses[name] < 0.4 * losses["prior"]

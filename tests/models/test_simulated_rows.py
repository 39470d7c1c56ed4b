from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sklearn.utils.class_weight import compute_sample_weight

from seamtell.features.errors import SeamtellError
from seamtell.models.labelled_table import ordered_classes
from seamtell.models.simulated_rows import join_rows, simulated_rows


@pytest.fixture
def shop_parts(shop, simulate):
    table = shop({"pinhole": 6, "mismatch": 9, "sound": 12})
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    return table, codes, classes


def test_without_simulated_flaws_the_weights_are_the_balanced_ones_of_scikit_learn(shop_parts) -> None:
    table, codes, classes = shop_parts
    rows = join_rows(table, codes, len(classes))
    np.testing.assert_allclose(rows.weights, compute_sample_weight("balanced", codes), rtol=1e-12)
    assert rows.values is table.values


@pytest.mark.parametrize("weight", [0.1, 1.0, 10.0])
def test_the_simulated_flaws_of_each_class_together_count_the_weight_times_its_sections(
    shop_parts, simulate, weight: float
) -> None:
    table, codes, classes = shop_parts
    simulated = simulated_rows(simulate(40), table, classes)
    rows = join_rows(table, codes, len(classes), simulated, weight)
    n = len(table)
    for c in range(len(classes)):
        real = rows.weights[:n][rows.codes[:n] == c].sum()
        theirs = rows.weights[n:][rows.codes[n:] == c].sum()
        assert theirs == pytest.approx(weight * real)
    assert rows.weights[:n] == pytest.approx(compute_sample_weight("balanced", codes))


def test_a_class_that_is_not_simulated_keeps_its_share_of_the_fit(shop_parts, simulate) -> None:
    table, codes, classes = shop_parts
    simulated = simulated_rows(simulate(40, without=("sound",)), table, classes)
    rows = join_rows(table, codes, len(classes), simulated, 3.0)
    totals = np.bincount(rows.codes, weights=rows.weights)
    np.testing.assert_allclose(totals, totals[0])


def test_flaws_in_coils_that_the_fit_must_not_see_stay_out(shop_parts, simulate) -> None:
    table, codes, classes = shop_parts
    simulated = simulated_rows(simulate(40, coils=6), table, classes)
    unseen = np.array(["coil-001", "coil-004"])
    rows = join_rows(table, codes, len(classes), simulated, 1.0, unseen)
    joined = rows.groups[len(table) :]
    assert set(joined) == {"coil-000", "coil-002", "coil-003", "coil-005"}


def test_simulated_flaws_of_classes_that_are_not_learnt_are_dropped(shop_parts, simulate) -> None:
    table, _, classes = shop_parts
    simulated = simulated_rows(simulate(10), table, classes)
    assert np.bincount(simulated.codes).tolist() == [10, 10, 10]


def test_simulated_flaws_with_other_descriptors_are_refused(shop_parts, simulate) -> None:
    table, _, classes = shop_parts
    with pytest.raises(SeamtellError, match=r"other descriptors than the sections.*seamtell implant"):
        simulated_rows(replace(simulate(3), schema_digest="older"), table, classes)

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from seamtell.models.labelled_table import LabelledTable, ordered_classes
from seamtell.models.simulated_rows import SimulatedRows, simulated_rows
from seamtell.models.simulated_weight import (
    REACH,
    WEIGHTS,
    WeightedAnswers,
    choose_weight,
    weighted_cross_validate,
)
from seamtell.models.splits import grouped_folds


def weigh(name: str, table: LabelledTable, simulated, folds: int = 4) -> WeightedAnswers:
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    extra: SimulatedRows | None = None if simulated is None else simulated_rows(simulated, table, classes)
    dealt = grouped_folds(table.groups, codes, folds, 1)
    return weighted_cross_validate(name, table, codes, classes, dealt, 1, extra)


def test_the_reach_is_that_of_a_paired_standard_error() -> None:
    rng = np.random.default_rng(2)
    groups = np.arange(50).astype(str)
    none = rng.exponential(1.0, 50)
    for gain in np.linspace(0.0, 0.3, 31):
        # Losses vary far more from section to section than the two differ: only pairs show it.
        other = none - gain + 0.2 * rng.normal(size=50)
        clearly = stats.ttest_rel(none, other).statistic > REACH  # mean over its standard error
        assert choose_weight({0.0: none, 1.0: other}, groups) == (1.0 if clearly else 0.0)


def test_equal_losses_give_the_smallest_weight() -> None:
    losses = np.array([0.4, 0.8, 0.1])
    assert choose_weight(dict.fromkeys(WEIGHTS, losses), np.array(["a", "b", "c"])) == 0.0


def test_one_coil_alone_has_no_say() -> None:
    losses = {0.0: np.array([1.0, 1.0]), 1.0: np.array([0.1, 0.1])}
    assert choose_weight(losses, np.array(["a", "a"])) == 0.0


def test_sections_of_one_coil_count_together() -> None:
    coils = np.array([1.0, -0.9, 1.1, -1.0, 0.8, -0.7, 1.2, -1.2, 0.4, -0.5, 0.3, -0.2])
    gain = np.repeat(coils, 40)  # forty copies of twelve coils are twelve
    losses = {0.0: np.full(480, 2.0), 1.0: 2.0 - gain}
    assert gain.mean() > 0
    assert choose_weight(losses, np.arange(480).astype(str)) == 1.0
    clearly = stats.ttest_1samp(gain[::40], 0.0).statistic > REACH
    assert choose_weight(losses, np.repeat(np.arange(12), 40).astype(str)) == (1.0 if clearly else 0.0)


@pytest.fixture
def three_weights(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the grid is enough to tell much from little, and takes half the time."""
    monkeypatch.setattr("seamtell.models.simulated_weight.WEIGHTS", (0.0, 0.3, 3.0))


@pytest.mark.usefixtures("three_weights")
def test_right_physics_gets_a_large_weight_when_sections_are_few(shop, simulate) -> None:
    counts = dict.fromkeys(("pinhole", "edge_notch", "sound"), 6)
    weighed = [weigh("lightgbm", shop(counts, seed=s), simulate(30, seed=s + 50), folds=3) for s in range(3)]
    assert [one.weight for one in weighed] == [3.0] * 3
    assert all(one.losses[3.0] < one.losses[0.0] for one in weighed)


@pytest.mark.usefixtures("three_weights")
def test_wrong_physics_gets_no_weight(shop, simulate) -> None:
    counts = dict.fromkeys(("pinhole", "edge_notch", "sound"), 12)
    weighed = [
        weigh("lightgbm", shop(counts, seed=s), simulate(30, seed=s + 50, swapped=True), folds=3)
        for s in range(3)
    ]
    assert [one.weight for one in weighed] == [0.0] * 3


@pytest.mark.usefixtures("three_weights")
def test_no_fold_has_a_say_in_its_own_weight(shop, simulate) -> None:
    table = shop(dict.fromkeys(("pinhole", "edge_notch"), 9))
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    extra = simulated_rows(simulate(15), table, classes)
    folds = grouped_folds(table.groups, codes, 3, 1)
    first = weighted_cross_validate("lightgbm", table, codes, classes, folds, 1, extra)
    asked: list[np.ndarray] = []

    def spy(losses, groups):
        asked.append(groups)
        return choose_weight(losses, groups)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("seamtell.models.simulated_weight.choose_weight", spy)
        again = weighted_cross_validate("lightgbm", table, codes, classes, folds, 1, extra)
    assert again.fold_weights == first.fold_weights
    for fold, groups in zip(range(3), asked[:3], strict=True):
        assert not set(groups) & set(table.groups[folds == fold])
        assert len(groups) == (folds != fold).sum()


def test_two_folds_are_enough_to_choose(shop, simulate) -> None:
    table = shop(dict.fromkeys(("pinhole", "mismatch"), 6))
    weighed = weigh("lightgbm", table, simulate(15), folds=2)
    assert weighed.weight in WEIGHTS
    assert np.isfinite(weighed.out_of_fold).all()


@pytest.mark.parametrize("name", ["prior", "hand_rule"])
def test_candidates_that_need_no_physics_get_none(shop, simulate, name: str) -> None:
    table = shop(dict.fromkeys(("pinhole", "mismatch"), 8))
    with_it, without = weigh(name, table, simulate(50)), weigh(name, table, None)
    assert with_it.weight == 0.0
    assert with_it.out_of_fold.tolist() == without.out_of_fold.tolist()

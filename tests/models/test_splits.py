from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from sklearn.model_selection import StratifiedGroupKFold

from seamtell.features.errors import SeamtellError
from seamtell.models.splits import assert_no_leak, grouped_folds, time_ordered_holdout

DAY = np.timedelta64(1, "D")
START = np.datetime64("2026-01-01")


def test_the_newest_groups_are_held_out() -> None:
    groups = np.array(["c", "c", "b", "b", "a", "a", "d", "d", "e", "e"])
    held = time_ordered_holdout(groups, START + np.arange(10) * DAY, 0.3)
    assert set(groups[held]) == {"e"} or set(groups[held]) == {"d", "e"}
    assert held.tolist() == sorted(held.tolist())


def test_a_group_that_reaches_into_the_newest_days_is_held_out_whole() -> None:
    groups = np.array(["long", "a", "b", "c", "d", "long"])
    held = time_ordered_holdout(groups, START + np.arange(6) * DAY, 0.3)
    assert held.tolist() == [True, False, False, False, False, True]


@settings(max_examples=100, deadline=None)
@given(
    member=st.lists(st.integers(0, 8), min_size=2, max_size=60),
    share=st.floats(0.01, 0.99),
    seed=st.integers(0, 99),
)
def test_no_group_is_ever_on_both_sides_and_both_sides_have_rows(member, share, seed) -> None:
    assume(len(set(member)) > 1)
    groups = np.array([f"g{m}" for m in member])
    times = START + np.random.default_rng(seed).integers(0, 40, len(groups)) * DAY
    held = time_ordered_holdout(groups, times, share)
    assert_no_leak(groups[~held], groups[held])
    assert held.any()
    assert not held.all()
    newest_in_training = times[~held].max()
    assert all(times[groups == g].max() >= newest_in_training for g in set(groups[held]))


def test_the_share_held_out_is_the_nearest_that_whole_groups_allow() -> None:
    groups = np.array([f"g{i}" for i in range(100)])
    assert time_ordered_holdout(groups, START + np.arange(100) * DAY, 0.27).sum() == 27


@pytest.mark.parametrize("share", [0.0, 1.0, -0.2, np.nan])
def test_a_share_outside_zero_and_one_is_refused(share: float) -> None:
    with pytest.raises(SeamtellError, match="between 0 and 1"):
        time_ordered_holdout(np.array(["a", "b"]), START + np.arange(2) * DAY, share)


def test_a_missing_time_is_refused() -> None:
    with pytest.raises(SeamtellError, match="without a time"):
        time_ordered_holdout(np.array(["a", "b"]), np.array(["2026-01-01", "NaT"], "datetime64[D]"), 0.3)


def test_one_group_alone_cannot_be_split() -> None:
    with pytest.raises(SeamtellError, match="at least 2"):
        time_ordered_holdout(np.array(["a", "a"]), START + np.arange(2) * DAY, 0.3)


@settings(max_examples=100, deadline=None)
@given(
    rows=st.lists(st.tuples(st.integers(0, 14), st.integers(0, 2)), min_size=6, max_size=80),
    folds=st.integers(2, 6),
    seed=st.integers(0, 9),
)
def test_groups_stay_whole_and_every_training_part_has_every_class(rows, folds, seed) -> None:
    groups = np.array([f"g{g}" for g, _ in rows])
    codes = np.array([c for _, c in rows])
    per_class = [len(set(groups[codes == c])) for c in range(3)]
    assume(min(per_class) >= 2)
    if folds < len(set(groups)) and folds < 4:
        assume(len(set(groups)) >= 3 * folds)  # few groups of mixed classes may have no deal at all
    dealt = grouped_folds(groups, codes, folds, seed)
    assert len(set(dealt)) <= folds
    for fold in set(dealt):
        assert_no_leak(groups[dealt != fold], groups[dealt == fold])
        assert set(codes[dealt != fold]) == {0, 1, 2}


def test_the_folds_are_as_even_as_those_of_scikit_learn() -> None:
    rng = np.random.default_rng(5)
    member = rng.integers(0, 60, 300)
    codes = rng.choice(4, 300, p=[0.5, 0.3, 0.15, 0.05])

    def unevenness(dealt: np.ndarray) -> float:
        table = np.zeros((5, 4))
        np.add.at(table, (dealt, codes), 1)
        return float((table / table.sum(axis=0)).std(axis=0).max())

    theirs = np.empty(300, dtype=int)
    splitter = StratifiedGroupKFold(5, shuffle=True, random_state=0)
    for fold, (_, test) in enumerate(splitter.split(np.zeros((300, 1)), codes, member)):
        theirs[test] = fold
    ours = grouped_folds(np.array([f"g{m}" for m in member]), codes, 5, 0)
    assert unevenness(ours) <= 1.1 * unevenness(theirs)


def test_the_number_of_folds_adapts_to_the_groups_of_the_scarcest_class() -> None:
    groups = np.array([f"g{i}" for i in range(20)])
    codes = np.array([0] * 17 + [1] * 3)
    dealt = grouped_folds(groups, codes, 5, 1)
    assert sorted(set(dealt.tolist())) == [0, 1, 2]
    assert sorted(dealt[codes == 1].tolist()) == [0, 1, 2]


def test_a_class_from_one_group_only_is_refused() -> None:
    with pytest.raises(SeamtellError, match="a class in 1 group"):
        grouped_folds(np.array(["a", "b", "c"]), np.array([0, 0, 1]), 2, 1)


TRIANGLE = (np.array(["a", "a", "b", "b", "c", "c"]), np.array([0, 1, 0, 2, 1, 2]))
"""Any two of the three groups share a class, so two folds cannot have every class in both."""


def test_groups_that_cannot_be_dealt_are_refused() -> None:
    with pytest.raises(SeamtellError, match="no way found to deal 3 groups into 2 folds"):
        grouped_folds(*TRIANGLE, 2, 1)


def test_more_folds_than_the_scarcest_class_has_groups_are_used_where_needed() -> None:
    assert sorted(set(grouped_folds(*TRIANGLE, 5, 1).tolist())) == [0, 1, 2]


def test_one_fold_is_refused() -> None:
    with pytest.raises(SeamtellError, match="got 1 folds"):
        grouped_folds(*TRIANGLE, 1, 1)


def test_the_same_seed_deals_the_same_folds() -> None:
    groups = np.array([f"g{i // 2}" for i in range(40)])
    codes = np.arange(40) % 3
    assert (grouped_folds(groups, codes, 4, 7) == grouped_folds(groups, codes, 4, 7)).all()


def test_a_planted_leak_is_refused_by_name() -> None:
    assert_no_leak(np.array(["a", "b"]), np.array(["c"]))
    with pytest.raises(SeamtellError, match="got group 'coil-7'"):
        assert_no_leak(np.array(["coil-1", "coil-7"]), np.array(["coil-7", "coil-9"]))

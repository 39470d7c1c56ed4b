"""Model against rival: McNemar, paired intervals and the margin."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.stats import bootstrap
from sklearn.metrics import f1_score
from statsmodels.stats.contingency_tables import mcnemar

from seamtell.pipeline.acceptance.comparison import (
    Against,
    PairedAnswers,
    compare_detected,
    compare_expected_cost,
    compare_macro_f1,
    compare_right,
    exact_mcnemar,
    is_right,
    limit_rule_answers,
)
from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.record import Rival
from seamtell.pipeline.acceptance.small_sample import expanded_level
from seamtell.pipeline.evaluation.bootstrap import Plan

LABELS = np.array(["pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound"])
PLAN = Plan(draws=1000)


def _pairs(n: int = 120, seed: int = 1, model: float = 0.85, rival: float = 0.7) -> PairedAnswers:
    rng = np.random.default_rng(seed)
    truths = rng.choice(LABELS, size=n)
    answers = [
        np.where(rng.random(n) < share, truths, rng.choice(LABELS, size=n)).astype(str)
        for share in (model, rival)
    ]
    return PairedAnswers(truths, answers[0], answers[1], np.array([f"g{i:04d}" for i in range(n)]))


@pytest.mark.parametrize(("b", "c"), [(0, 0), (1, 0), (5, 0), (3, 9), (10, 10), (2, 31), (40, 55)])
def test_mcnemar_is_the_exact_test_of_statsmodels(b: int, c: int) -> None:
    # Outside reference: statsmodels.stats.contingency_tables.mcnemar(exact=True).
    expected = mcnemar([[20, b], [c, 20]], exact=True).pvalue
    assert exact_mcnemar(b, c) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("b", "c"), [(1, 6), (4, 4), (8, 3), (0, 9)])
def test_mcnemar_counts_all_ways_that_the_differing_sections_could_fall(b: int, c: int) -> None:
    # Exact enumeration of all 2^(b + c) signs: as far from even, or further.
    ways = [sum(signs) for signs in product([0, 1], repeat=b + c)]
    as_far = sum(abs(way - (b + c) / 2) >= abs(b - c) / 2 for way in ways)
    assert exact_mcnemar(b, c) == pytest.approx(as_far / len(ways), abs=1e-12)


def test_a_negative_count_is_refused() -> None:
    with pytest.raises(ValueError, match="got -1 and 2 sections"):
        exact_mcnemar(-1, 2)


def test_the_counts_are_the_sections_where_one_alone_is_right() -> None:
    truths = np.array(["pinhole", "pinhole", "mismatch", "sound", "sound"])
    model = np.array(["pinhole", "mismatch", "mismatch", "missed", "pinhole"])
    rival = np.array(["mismatch", "pinhole", "unclassified", "missed", "sound"])
    groups = np.array(["a", "b", "c", "d", "e"])
    found = compare_right(PairedAnswers(truths, model, rival, groups), Against(Rival.APPROVED, "m-1"), PLAN)
    assert (found.only_model, found.only_rival, found.sections, found.model_id) == (2, 2, 5, "m-1")
    assert found.p_exact == 1.0
    assert found.difference.estimate == pytest.approx(0.0)


def test_silence_is_right_at_a_sound_place_only() -> None:
    assert is_right(np.array(["sound", "pinhole"]), np.array(["missed", "missed"])).tolist() == [True, False]


def test_the_limit_rule_names_nothing() -> None:
    assert limit_rule_answers(np.array([True, False])).tolist() == ["unclassified", "missed"]


def test_without_groups_the_paired_interval_holds_that_of_scipy() -> None:
    # Outside reference: scipy.stats.bootstrap(paired=True, method="BCa") on the same sections, and
    # again with the two imagined ones; our interval takes the ends that reach further.
    pairs = _pairs(n=60)
    right = [is_right(pairs.truths, a).astype(float) for a in (pairs.model, pairs.rival)]
    ours = compare_right(pairs, Against(Rival.APPROVED), Plan(draws=20_000)).difference

    def difference(a: np.ndarray, b: np.ndarray, axis: int) -> np.ndarray:
        return a.mean(axis=axis) - b.mean(axis=axis)

    ends = []
    for extra in ([], [1.0, 0.0]):
        data = np.append(right[0], extra), np.append(right[1], extra[::-1])
        theirs = bootstrap(
            data,
            difference,
            paired=True,
            vectorized=True,
            n_resamples=20_000,
            confidence_level=expanded_level(0.95, 60),
            method="BCa",
            rng=1,
        ).confidence_interval
        ends.append(theirs)
    assert ours.low == pytest.approx(min(one.low for one in ends), abs=0.018)
    assert ours.high == pytest.approx(max(one.high for one in ends), abs=0.018)
    assert ours.estimate == pytest.approx(right[0].mean() - right[1].mean())


def test_the_difference_of_macro_f1_is_that_of_scikit_learn() -> None:
    # Outside reference: sklearn.metrics.f1_score(average="macro").
    pairs = _pairs()
    expected = f1_score(pairs.truths, pairs.model, average="macro") - f1_score(
        pairs.truths, pairs.rival, average="macro"
    )
    found = compare_macro_f1(pairs, Against(Rival.APPROVED), PLAN)
    assert found.difference.estimate == pytest.approx(expected, abs=1e-12)
    assert found.difference.low < expected < found.difference.high
    assert found.p_exact is None


def test_the_difference_of_cost_is_the_mean_of_the_cost_table_per_thousand() -> None:
    table = CostTable(missed_class=50, wrong_class=5, needless_cut=2, unlabelled=1)
    pairs = PairedAnswers(
        np.array(["pinhole", "sound"]),
        np.array(["unclassified", "sound"]),
        np.array(["sound", "mismatch"]),
        np.array(["a", "b"]),
    )
    found = compare_expected_cost(pairs, table, Against(Rival.LIMIT_RULE), PLAN)
    assert found.difference.estimate == pytest.approx(1000 * ((1 - 50) + (0 - 2)) / 2)


@pytest.mark.parametrize("n", [1, 3, 20])
def test_two_that_answer_alike_keep_an_interval(n: int) -> None:
    pairs = _pairs(n=n)
    same = PairedAnswers(pairs.truths, pairs.truths, pairs.truths, pairs.groups)
    for found in (
        compare_right(same, Against(Rival.APPROVED), PLAN),
        compare_macro_f1(same, Against(Rival.APPROVED), PLAN),
        compare_expected_cost(same, CostTable(), Against(Rival.APPROVED), PLAN),
    ):
        assert found.difference.estimate == 0.0
        assert found.difference.low < 0.0 < found.difference.high


def test_sections_of_one_coil_count_as_one_witness() -> None:
    pairs = _pairs(n=120)
    torn = compare_right(pairs, Against(Rival.APPROVED), PLAN).difference
    repeat = PairedAnswers(*(np.repeat(x, 4) for x in (pairs.truths, pairs.model, pairs.rival, pairs.groups)))
    kept = compare_right(repeat, Against(Rival.APPROVED), PLAN).difference
    assert kept.high - kept.low == pytest.approx(torn.high - torn.low, rel=0.1)


def test_a_margin_wider_than_the_worst_end_shows_non_inferiority() -> None:
    pairs = _pairs(model=0.8, rival=0.8)
    low = compare_right(pairs, Against(Rival.APPROVED), PLAN).difference.low
    assert low < 0
    verdicts = [
        compare_right(pairs, Against(Rival.APPROVED, margins={"right": margin}), PLAN).non_inferior
        for margin in (-low + 0.001, -low - 0.001)
    ]
    assert verdicts == [True, False]


def test_for_a_cost_the_high_end_must_stay_within_the_margin() -> None:
    pairs, table = _pairs(model=0.8, rival=0.8), CostTable()
    high = compare_expected_cost(pairs, table, Against(Rival.APPROVED), PLAN).difference.high
    verdicts = [
        compare_expected_cost(
            pairs, table, Against(Rival.APPROVED, margins={"expected_cost": margin}), PLAN
        ).non_inferior
        for margin in (high + 1, high - 1)
    ]
    assert verdicts == [True, False]


def test_a_high_p_value_alone_never_shows_non_inferiority() -> None:
    pairs = _pairs(n=12, model=0.75, rival=0.75, seed=0)
    found = compare_right(pairs, Against(Rival.APPROVED, margins={"right": 0.05}), PLAN)
    assert found.p_exact > 0.5
    assert found.non_inferior is False


def test_without_a_margin_there_is_no_verdict() -> None:
    assert compare_right(_pairs(), Against(Rival.APPROVED), PLAN).non_inferior is None


def test_without_a_section_the_difference_is_unknown_and_never_passes() -> None:
    none = np.array([], dtype=str)
    against = Against(Rival.APPROVED, margins={"right": 0.5, "macro_f1": 0.5})
    for compare in (compare_right, compare_macro_f1):
        found = compare(PairedAnswers(none, none, none, none), against, PLAN)
        assert found.difference.unknown == "no case"
        assert found.non_inferior is False
        assert found.p_exact is None


def test_a_negative_margin_is_refused() -> None:
    with pytest.raises(ValueError, match=r"got a margin of -0\.1 for right"):
        compare_right(_pairs(), Against(Rival.APPROVED, margins={"right": -0.1}), PLAN)


def test_detection_is_compared_on_the_flaws_given() -> None:
    model = np.array([True, True, True, False])
    rule = np.array([True, False, False, False])
    found = compare_detected(model, rule, np.array(["a", "b", "c", "d"]), Against(Rival.LIMIT_RULE), PLAN)
    assert (found.figure, found.only_model, found.only_rival, found.p_exact) == ("detected", 2, 0, 0.5)

"""Figures by stratum, and the test of heterogeneity against scipy and exact enumeration."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy.stats import PermutationMethod, chi2_contingency, fisher_exact
from statsmodels.stats.multitest import multipletests

from seamtell.pipeline.acceptance.strata import (
    StrataRows,
    StratumFigure,
    StratumKind,
    permutation_p,
    strata_figures,
    stratum_tests,
)
from seamtell.pipeline.evaluation.intervals import clopper_pearson

LINE, RECIPE = StratumKind.LINE, StratumKind.RECIPE


def _rows(outcomes: list[str], lines: list[str], truths: list[str] | None = None) -> StrataRows:
    n = len(outcomes)
    return StrataRows(
        truths=np.array(truths or ["pinhole"] * n),
        outcomes=np.array(outcomes),
        groups=np.array([f"g{i:03d}" for i in range(n)]),
        by={LINE: np.array(lines)},
    )


def _each_alone(n: int) -> np.ndarray:
    return np.array([f"g{i:04d}" for i in range(n)])


def test_figures_are_the_shares_of_each_stratum_with_exact_intervals() -> None:
    outcomes = ["right"] * 12 + ["wrong"] * 3 + ["abstained"] * 5 + ["missed"] * 4 + ["right"] * 10
    first, second = strata_figures(_rows(outcomes, ["A"] * 24 + ["B"] * 10))
    assert (first.value, first.sections, second.value, second.sections) == ("A", 24, "B", 10)
    assert (first.right.count, first.right.n) == (12, 20)
    assert (first.right.low, first.right.high) == clopper_pearson(12, 20)
    assert (first.abstained.count, first.abstained.n) == (5, 20)
    assert (first.missed.count, first.missed.n) == (4, 24)


def test_a_stratum_with_few_sections_reads_too_few_with_its_number() -> None:
    stratum = strata_figures(_rows(["right"] * 9, ["A"] * 9))[0]
    for figure in (stratum.right, stratum.missed, stratum.abstained):
        assert (figure.estimate, figure.unknown, figure.n) == (None, "too few", 9)


def test_where_nothing_unflagged_was_cut_the_missed_share_is_unknown() -> None:
    stratum = strata_figures(_rows(["right"] * 20, ["A"] * 20))[0]
    assert stratum.missed.unknown == "nothing unflagged was cut"
    assert stratum.right.estimate == 1.0


def test_sections_that_are_not_judged_or_have_no_stratum_are_passed_over() -> None:
    rows = _rows(["right"] * 12 + ["shared", "left_out", "right"], ["A"] * 14 + [""])
    found = strata_figures(rows)
    assert [(one.value, one.sections) for one in found] == [("A", 12)]


def test_sound_sections_are_no_missed_flaws() -> None:
    rows = _rows(["quiet"] * 10 + ["missed"] * 10, ["A"] * 20, ["sound"] * 10 + ["pinhole"] * 10)
    assert strata_figures(rows)[0].missed.n == 10


@pytest.mark.parametrize("table", [[[18, 6], [9, 15]], [[12, 3], [10, 5], [6, 9]], [[30, 2], [25, 6]]])
def test_without_groups_it_is_the_permutation_test_of_scipy(table: list[list[int]]) -> None:
    # Outside reference: scipy.stats.chi2_contingency(method=PermutationMethod); both random, so 4
    # standard errors of the difference of two Monte Carlo p-values are allowed.
    draws = 4999
    strata = np.concatenate([np.full(sum(row), f"s{i}") for i, row in enumerate(table)])
    holds = np.concatenate([np.repeat([True, False], row) for row in table])
    ours = permutation_p(strata, holds, _each_alone(len(strata)), draws=draws)
    method = PermutationMethod(n_resamples=draws, rng=np.random.default_rng(2))
    theirs = chi2_contingency(np.array(table), correction=False, method=method).pvalue
    assert ours == pytest.approx(theirs, abs=4 * np.sqrt(2 * theirs * (1 - theirs) / draws) + 2 / draws)


def test_with_two_equal_strata_it_is_fishers_exact_test() -> None:
    # Outside reference: scipy.stats.fisher_exact; with equal margins both order the tables alike.
    strata = np.repeat(["a", "b"], 20)
    holds = np.concatenate([np.repeat([True, False], [17, 3]), np.repeat([True, False], [10, 10])])
    expected = fisher_exact([[17, 3], [10, 10]]).pvalue
    ours = permutation_p(strata, holds, _each_alone(40), draws=9999)
    assert ours == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 9999))


def test_whole_coils_are_dealt_as_all_their_orders_are_counted() -> None:
    # Exact enumeration of the 8! orders of eight coils of three sections.
    held, counted = np.array([3, 3, 2, 3, 1, 0, 1, 2]), 3
    strata = np.repeat(["a", "a", "a", "a", "b", "b", "b", "b"], counted)
    groups = np.repeat([f"g{i}" for i in range(8)], counted)
    holds = np.concatenate([np.arange(counted) < k for k in held])
    seen = abs(held[:4].sum() - held[4:].sum())
    orders = [abs(sum(o[:4]) - sum(o[4:])) >= seen for o in permutations(held.tolist())]
    expected = float(np.mean(orders))
    ours = permutation_p(strata, holds, groups, draws=9999)
    assert ours == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 9999))


def test_alike_sections_of_one_coil_are_one_witness() -> None:
    # Ten copies of each section change nothing when the coil keeps them together.
    rng = np.random.default_rng(3)
    strata, holds, groups = np.repeat(["a", "b"], 15), rng.random(30) < 0.5, _each_alone(30)
    alone = permutation_p(strata, holds, groups)
    copied = permutation_p(*(np.repeat(x, 10) for x in (strata, holds, groups)))
    assert copied == pytest.approx(alone, abs=1e-12)


def test_without_a_difference_small_p_values_are_as_rare_as_they_say() -> None:
    # Simulation: coils with their own rates, two lines by lot; at most 5 % below
    # 0.05, plus 3 standard errors.
    rng = np.random.default_rng(4)
    small = 0
    for seed in range(300):
        rate = rng.beta(2, 1, size=30)
        holds = rng.random(90) < np.repeat(rate, 3)
        strata = np.repeat(rng.permutation(np.repeat(["a", "b"], 15)), 3)
        p = permutation_p(strata, holds, np.repeat(_each_alone(30), 3), draws=199, seed=seed)
        small += p <= 0.05
    assert small / 300 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 300)
    assert small > 0


def test_nothing_that_varies_gives_no_p_value() -> None:
    assert permutation_p(np.array(["a"] * 5), np.array([True, False] * 2 + [True]), _each_alone(5)) is None
    assert permutation_p(np.array(["a", "b"]), np.array([True, True]), _each_alone(2)) is None


def test_a_line_on_which_the_model_fails_is_found_and_named() -> None:
    outcomes = ["right"] * 28 + ["wrong"] * 2 + ["right"] * 10 + ["wrong"] * 20
    tests = stratum_tests(_rows(outcomes, ["L1"] * 30 + ["L2"] * 30))
    right = next(one for one in tests if one.figure == "right")
    assert right.p_adjusted < 0.01
    assert "differs between lines" in right.words
    assert "0.33 (L2, n = 30) and 0.93 (L1, n = 30)" in right.words


def test_all_tests_are_adjusted_together_by_holm() -> None:
    # Outside reference: statsmodels multipletests over the tests that were made.
    rng = np.random.default_rng(5)
    outcomes = rng.choice(["right", "wrong", "abstained", "missed"], size=200)
    rows = StrataRows(
        truths=np.full(200, "pinhole"),
        outcomes=outcomes,
        groups=_each_alone(200),
        by={LINE: rng.choice(["L1", "L2"], size=200), RECIPE: rng.choice(["R1", "R2", "R3"], size=200)},
    )
    tests = stratum_tests(rows, draws=499)
    expected = multipletests([one.p for one in tests], method="holm")[1]
    assert len(tests) == 2 * len(StratumFigure)
    assert [one.p_adjusted for one in tests] == pytest.approx(expected.tolist())


def test_strata_with_few_sections_take_no_part_in_the_test() -> None:
    outcomes = ["right", "wrong"] * 20 + ["wrong"] * 5
    test = stratum_tests(_rows(outcomes, ["L1"] * 20 + ["L2"] * 20 + ["L3"] * 5), draws=99)[0]
    assert test.strata == 2
    assert "L3" not in test.words


def test_one_stratum_alone_is_not_tested_and_says_why() -> None:
    test = stratum_tests(_rows(["right", "wrong"] * 10, ["L1"] * 20))[0]
    assert (test.p, test.p_adjusted) == (None, None)
    assert "cannot be compared between lines: too few sections" in test.words


def test_no_difference_shown_is_not_called_equal() -> None:
    test = stratum_tests(_rows(["right", "wrong"] * 20, ["L1"] * 20 + ["L2"] * 20), draws=99)[0]
    assert "That does not prove them equal." in test.words

"""Numbers of sections against published demonstrations, scipy and statsmodels."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, binom
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.acceptance.sample_size import (
    MOST_SECTIONS,
    Reach,
    demonstrated,
    demonstration_table,
    flaws_needed,
    sections_needed,
)

SHARES = st.floats(0.05, 0.99)


def test_the_table_is_the_published_one() -> None:
    # Published (MIL-HDBK-1823A and inspection textbooks, from memory): 90 % POD with 95 % confidence
    # takes 29, 46, 61, 76, 89, 103 flaws with 0 to 5 misses.
    table = demonstration_table(0.90, 0.95, 5)
    assert [row.flaws for row in table] == [29, 46, 61, 76, 89, 103]
    assert [row.hits for row in table[:3]] == [29, 45, 59]


@pytest.mark.parametrize(
    ("pod", "confidence", "flaws"), [(0.90, 0.90, 22), (0.95, 0.95, 59), (0.99, 0.95, 299)]
)
def test_success_runs_are_the_published_ones(pod: float, confidence: float, flaws: int) -> None:
    # Published (zero-failure or success-run table, from memory): n = ln(1 - C) / ln(R).
    assert flaws_needed(pod, confidence) == flaws


@settings(max_examples=80, deadline=None)
@given(SHARES, st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99]), st.integers(0, 6))
def test_the_number_is_the_least_that_the_exact_interval_allows(
    pod: float, confidence: float, misses: int
) -> None:
    # Outside reference: lower end of Clopper and Pearson's interval by scipy's beta distribution.
    n = flaws_needed(pod, confidence, misses)

    def low(flaws: int) -> float:
        hits = flaws - misses
        return float(beta.ppf(1 - confidence, hits, misses + 1)) if hits else 0.0

    assert low(n) >= pod - 1e-9
    assert n == misses or low(n - 1) < pod + 1e-9


@settings(max_examples=80, deadline=None)
@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), SHARES)
def test_demonstrated_agrees_with_the_interval_of_statsmodels(counts: tuple[int, int], pod: float) -> None:
    # Outside reference: statsmodels proportion_confint(method="beta"), two-sided 90 %.
    low, _ = proportion_confint(*counts, alpha=0.10, method="beta")
    if abs(low - pod) > 1e-9:
        assert demonstrated(*counts, pod, 0.95) == (low > pod)


@pytest.mark.parametrize(
    ("seen", "bound", "at_most"), [(0.95, 0.85, False), (0.7, 0.5, False), (0.05, 0.2, True)]
)
def test_the_chance_is_the_sum_over_the_counts_that_keep_the_bound(
    seen: float, bound: float, at_most: bool
) -> None:
    # Naive twin: every count of every number of sections, interval by statsmodels, weight by scipy.
    answer = sections_needed(seen, bound, at_most=at_most, level=0.90)
    first = answer.for_chance
    assert first is not None
    chances = []
    for n in range(1, first + 60):
        counts = np.arange(n + 1)
        low, high = proportion_confint(counts, n, alpha=0.10, method="beta")
        # statsmodels leaves the ends of no and of only good cases undefined in old versions.
        holds = np.nan_to_num(high, nan=1.0) <= bound if at_most else np.nan_to_num(low) >= bound
        chances.append(float(binom.pmf(counts, n, seen)[holds].sum()))
    assert chances[first - 2] < 0.80
    assert min(chances[first - 1 :]) >= 0.80
    for point in (*answer.curve, *answer.table):
        if point.sections <= len(chances):
            assert point.chance == pytest.approx(chances[point.sections - 1], abs=1e-9)


def test_at_the_number_for_the_expected_count_the_interval_keeps_the_bound() -> None:
    # Outside reference: statsmodels proportion_confint(method="beta").
    answer = sections_needed(0.95, 0.90)
    n = answer.for_expected
    assert n is not None
    lows = [proportion_confint(np.floor(k * 0.95 + 1e-9), k, method="beta")[0] for k in range(n - 1, n + 200)]
    assert lows[0] < 0.90
    assert min(lows[1:]) >= 0.90


def test_perfect_performance_needs_the_demonstration_number() -> None:
    # Published: 29 of 29 for 90 % with 95 % one-sided confidence, which is the 90 % two-sided level.
    answer = sections_needed(1.0, 0.90, level=0.90)
    assert (answer.for_chance, answer.for_expected, answer.fewest) == (29, 29, 29)
    assert "seldom keeps up" in answer.words


@pytest.mark.parametrize(
    ("seen", "bound", "at_most"), [(0.85, 0.9, False), (0.9, 0.9, False), (0.3, 0.2, True)]
)
def test_on_the_wrong_side_of_the_bound_no_number_helps(seen: float, bound: float, at_most: bool) -> None:
    answer = sections_needed(seen, bound, at_most=at_most)
    assert answer.reach is Reach.NEVER
    assert answer.for_chance is None
    assert answer.for_expected is None
    assert answer.table == ()
    assert max(point.chance for point in answer.curve) < 0.5
    assert answer.words.startswith("never")


def test_a_value_very_near_to_the_bound_is_beyond_reach() -> None:
    answer = sections_needed(0.9005, 0.90)
    assert answer.reach is Reach.BEYOND
    assert answer.for_chance is None
    assert f"{MOST_SECTIONS:,}" in answer.words


def test_a_share_to_stay_below_mirrors_one_to_stay_above() -> None:
    above, below = sections_needed(0.8, 0.7), sections_needed(1 - 0.8, 1 - 0.7, at_most=True)
    assert (above.for_chance, above.for_expected) == (below.for_chance, below.for_expected)
    assert [p.chance for p in above.curve] == pytest.approx([p.chance for p in below.curve])


@settings(max_examples=30, deadline=None)
@given(st.floats(0.6, 0.9), st.floats(0.15, 0.3))
def test_more_chance_takes_no_fewer_sections(bound: float, less: float) -> None:
    found = [sections_needed(bound, bound - less, chance=c).for_chance for c in (0.5, 0.8, 0.9, 0.95)]
    assert all(a <= b for a, b in itertools.pairwise(found))


def test_the_allowed_bad_cases_are_those_of_the_demonstration_table() -> None:
    answer = sections_needed(0.99, 0.90, level=0.90)
    table = demonstration_table(0.90, 0.95, 5)
    for point in answer.curve:
        fitting = [row.misses for row in table if row.flaws <= point.sections]
        expected = max(fitting) if fitting else None
        if point.sections < 100:
            assert point.allowed == expected


@pytest.mark.parametrize(
    ("name", "values"), [("bound", (0.5, 1.0)), ("bound", (0.5, 0.0)), ("share seen", (1.2, 0.5))]
)
def test_a_share_out_of_range_is_an_error(name: str, values: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match=name):
        sections_needed(*values)


def test_impossible_demonstrations_are_an_error() -> None:
    with pytest.raises(ValueError, match="pod"):
        flaws_needed(1.0, 0.95)
    with pytest.raises(ValueError, match="misses"):
        flaws_needed(0.9, 0.95, -1)
    with pytest.raises(ValueError, match="hits"):
        demonstrated(5, 4, 0.9, 0.95)

"""Agreement figures against published examples, scikit-learn and statsmodels."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.inter_rater import fleiss_kappa as reference_fleiss

from seamtell.pipeline.acceptance.examiners import (
    Readings,
    Weights,
    agreement_figures,
    cohen_kappa,
    fleiss_kappa,
    krippendorff_alpha,
    weighted_kappa,
)
from seamtell.pipeline.evaluation.bootstrap import Plan

PLAN = Plan(draws=400)
LABELS = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")

# Ten subjects, fourteen raters, five classes; kappa 0.210: the worked example that
# textbooks and encyclopaedias show for Fleiss' kappa (from memory).
TEN_SUBJECTS = np.array(
    [
        [0, 0, 0, 0, 14],
        [0, 2, 6, 4, 2],
        [0, 0, 3, 5, 6],
        [0, 3, 9, 2, 0],
        [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0],
        [3, 2, 6, 3, 0],
        [2, 5, 3, 2, 2],
        [6, 5, 2, 1, 0],
        [0, 2, 2, 3, 7],
    ]
)
# Krippendorff, Computing Krippendorff's alpha-reliability (2011): four observers, twelve
# units, missing readings, alpha 0.743; two observers, 0.692 and 0.095 (all from memory).
FOUR_OBSERVERS = ("123321412***", "1233224125*3", "*3332342251*", "12332441251*")
TWO_OBSERVERS = ("aabbdcccedda", "babbbccceddd")
TWO_OBSERVERS_BINARY = ("0100000010", "1110010000")


def readings_of(*rows: str) -> Readings:
    names = sorted({c for row in rows for c in row} - {"*"})
    codes = np.array([[-1 if c == "*" else names.index(c) for c in row] for row in rows]).T
    return Readings(tuple(names), codes)


def from_counts(counts: np.ndarray) -> Readings:
    codes = np.array([np.repeat(np.arange(counts.shape[1]), row) for row in counts])
    return Readings(tuple("abcdefgh"[: counts.shape[1]]), codes)


def drawn(
    seed: int, sections: int = 40, examiners: int = 3, right: float = 0.7, read: float = 1.0
) -> Readings:
    rng = np.random.default_rng(seed)
    truth = rng.integers(5, size=(sections, 1))
    codes = np.where(
        rng.random((sections, examiners)) < right, truth, rng.integers(5, size=(sections, examiners))
    )
    return Readings(LABELS, np.where(rng.random((sections, examiners)) < read, codes, -1))


def alpha_by_hand(readings: Readings) -> float:
    """Krippendorff's alpha from pairs of readings, one by one, without any shortcut."""
    units = [row[row >= 0] for row in readings.codes if (row >= 0).sum() > 1]
    pairs = [
        (a, b, 1 / (len(unit) - 1))
        for unit in units
        for i, a in enumerate(unit)
        for j, b in enumerate(unit)
        if i != j
    ]
    every = np.concatenate(units)
    observed = sum(weight for a, b, weight in pairs if a != b) / len(every)
    differing = sum(a != b for i, a in enumerate(every) for j, b in enumerate(every) if i != j)
    return 1 - observed / (differing / (len(every) * (len(every) - 1)))


def test_the_ten_subjects_give_the_published_kappa() -> None:
    found = fleiss_kappa(from_counts(TEN_SUBJECTS), PLAN)
    assert found.estimate == pytest.approx(0.210, abs=0.0005)
    assert found.estimate == pytest.approx(reference_fleiss(TEN_SUBJECTS), abs=1e-12)


@pytest.mark.parametrize(
    ("rows", "published"), [(FOUR_OBSERVERS, 0.743), (TWO_OBSERVERS, 0.692), (TWO_OBSERVERS_BINARY, 0.095)]
)
def test_the_examples_of_krippendorff_give_the_published_alpha(
    rows: tuple[str, ...], published: float
) -> None:
    assert krippendorff_alpha(readings_of(*rows), PLAN).estimate == pytest.approx(published, abs=0.0005)


@pytest.mark.parametrize("seed", range(4))
def test_alpha_is_what_counting_pair_by_pair_gives(seed: int) -> None:
    readings = drawn(seed, examiners=4, read=0.6)
    assert krippendorff_alpha(readings, PLAN).estimate == pytest.approx(alpha_by_hand(readings), abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_fleiss_kappa_is_that_of_statsmodels(seed: int) -> None:
    readings = drawn(seed, examiners=4)
    expected = reference_fleiss(readings.counts)
    assert fleiss_kappa(readings, PLAN).estimate == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("weights", Weights)
@pytest.mark.parametrize("seed", range(3))
def test_the_kappa_of_two_examiners_is_that_of_scikit_learn(seed: int, weights: Weights) -> None:
    readings = drawn(seed, examiners=2)
    expected = cohen_kappa_score(
        *readings.codes.T, labels=range(5), weights=None if weights is Weights.NONE else weights.value
    )
    assert cohen_kappa(readings, PLAN, weights).estimate == pytest.approx(expected, abs=1e-12)


def test_the_kappa_of_many_examiners_is_the_mean_over_pairs() -> None:
    readings = drawn(9, examiners=4)
    pairs = [
        cohen_kappa_score(readings.codes[:, a], readings.codes[:, b]) for a, b in combinations(range(4), 2)
    ]
    assert cohen_kappa(readings, PLAN).estimate == pytest.approx(np.mean(pairs), abs=1e-12)


def test_a_pair_counts_by_the_sections_that_both_read() -> None:
    readings = drawn(10, sections=60, examiners=3, read=0.6)
    kappas, sizes = [], []
    for a, b in combinations(range(3), 2):
        both = (readings.codes[:, [a, b]] >= 0).all(axis=1)
        kappas.append(cohen_kappa_score(*readings.codes[both][:, [a, b]].T))
        sizes.append(both.sum())
    assert cohen_kappa(readings, PLAN).estimate == pytest.approx(np.average(kappas, weights=sizes), abs=1e-12)


def test_the_interval_of_kappa_is_close_to_the_asymptotic_one_of_statsmodels() -> None:
    readings = drawn(3, sections=300, examiners=2)
    table = np.zeros((5, 5))
    np.add.at(table, tuple(readings.codes.T), 1)
    reference = cohens_kappa(table)
    found = cohen_kappa(readings, Plan(draws=2000))
    assert found.low == pytest.approx(reference.kappa_low, abs=0.02)
    assert found.high == pytest.approx(reference.kappa_upp, abs=0.02)


def test_perfect_agreement_of_few_sections_still_has_a_width() -> None:
    readings = Readings(LABELS, np.repeat([[0], [1], [2], [0], [1]], 3, axis=1))
    figures = agreement_figures(readings, PLAN)
    for estimate in (figures.cohen_kappa, figures.fleiss_kappa, figures.krippendorff_alpha):
        assert (estimate.estimate, estimate.high) == (pytest.approx(1.0), pytest.approx(1.0))
        assert estimate.low < 0.75
        assert "5 in 5" in estimate.method


def test_one_section_read_twice_has_a_wide_interval() -> None:
    figures = agreement_figures(Readings(LABELS, np.array([[0, 1]])), PLAN)
    assert figures.krippendorff_alpha.high - figures.krippendorff_alpha.low > 0.9
    assert figures.fleiss_kappa.high - figures.fleiss_kappa.low > 0.9


def test_readings_of_one_flaw_only_have_no_figure_and_say_why() -> None:
    figures = agreement_figures(Readings(LABELS, np.zeros((8, 3), dtype=int)), PLAN)
    for estimate in (figures.cohen_kappa, figures.fleiss_kappa, figures.krippendorff_alpha):
        assert estimate.estimate is None
        assert "the same flaw" in estimate.unknown


def test_sections_read_once_do_not_count() -> None:
    readings = drawn(4, examiners=3)
    once = np.array([[0, -1, -1], [-1, 3, -1], [-1, -1, -1]])
    more = Readings(LABELS, np.vstack([readings.codes, once]))
    assert agreement_figures(more, PLAN) == agreement_figures(readings, PLAN)


def test_the_figures_say_how_many_sections_readings_and_examiners_they_rest_on() -> None:
    codes = np.array([[0, 1, -1, -1], [2, 2, 2, -1], [-1, -1, -1, 4]])
    figures = agreement_figures(Readings(LABELS, codes), PLAN)
    assert (figures.sections, figures.readings, figures.examiners) == (2, 5, 3)


def test_without_a_section_read_twice_there_are_no_figures() -> None:
    assert agreement_figures(Readings(LABELS, np.array([[0, -1], [-1, 1]])), PLAN) is None
    assert (
        fleiss_kappa(Readings(LABELS, np.array([[0, -1]])), PLAN).unknown
        == "no section was read by two examiners"
    )


def test_rows_become_a_table_and_bad_ones_are_refused() -> None:
    rows = Readings.from_rows(
        ["s2", "s1", "s1"], ["ben", "ann", "ben"], ["sound", "pinhole", "sound"], LABELS
    )
    assert rows.codes.tolist() == [[0, 4], [-1, 4]]
    with pytest.raises(ValueError, match="unknown flaw 'crack'"):
        Readings.from_rows(["s"], ["ann"], ["crack"], LABELS)
    with pytest.raises(ValueError, match="two readings of section 's' by 'ann'"):
        Readings.from_rows(["s", "s"], ["ann", "ann"], ["sound", "sound"], LABELS)


def test_the_kappa_of_an_empty_or_one_class_table_is_not_defined() -> None:
    tables = np.array([[[0.0, 0.0], [0.0, 0.0]], [[5.0, 0.0], [0.0, 0.0]]])
    assert np.isnan(weighted_kappa(tables)).all()

"""Bounds under wrong labels, against trying every relabelling, and against simulated wrong labels."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import f1_score, recall_score

from seamtell.pipeline.acceptance.label_errors import (
    LABEL_ERROR_RATES,
    label_error_figures,
    random_errors,
    worst_case,
)
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS, ConfusionMatrix

TABLES = [
    np.array([[5.0, 1, 2, 0], [1, 4, 0, 1], [0, 2, 6, 1]]),
    np.array([[3.0, 0, 0], [2, 2, 1]]),
    np.array([[2.0, 3, 1, 2], [0, 7, 1, 0], [1, 1, 1, 0]]),
    np.array([[6.0, 0, 0], [0, 6, 0]]),
    np.array([[0.0, 2, 1], [3, 0, 2]]),
]


def rows_of(table: np.ndarray) -> tuple[list[int], list[int]]:
    """Truth and answer of each section of a table."""
    cells = [(i, j) for (i, j), n in np.ndenumerate(table) for _ in range(int(n))]
    return [i for i, _ in cells], [j for _, j in cells]


def every_relabelling(table: np.ndarray, wrong: int) -> list[np.ndarray]:
    """Every table that at most `wrong` moved sections can make, by trying them all."""
    k, m = table.shape
    reached = {table.tobytes(): table}
    edge = [table]
    for _ in range(wrong):
        after = {}
        for start in edge:
            for i, j, other in np.ndindex(k, m, k):
                if other != i and start[i, j] > 0:
                    moved = start.copy()
                    moved[i, j] -= 1
                    moved[other, j] += 1
                    after[moved.tobytes()] = moved
        edge = [moved for key, moved in after.items() if key not in reached]
        reached.update(after)
    return list(reached.values())


def reference_macro_f1(table: np.ndarray, classes: list[int]) -> float:
    return float(f1_score(*rows_of(table), labels=classes, average="macro", zero_division=0))


def reference_recall(table: np.ndarray) -> np.ndarray:
    recall = recall_score(*rows_of(table), labels=range(len(table)), average=None, zero_division=0)
    return np.where(table.sum(axis=1) > 0, recall, np.nan)


def plain_figures(tables: np.ndarray, classes: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """Macro-F1 over `classes` and recalls of many tables at once, by their definitions."""
    right = np.diagonal(tables, axis1=1, axis2=2)
    true, called = tables.sum(axis=2), tables.sum(axis=1)[:, : tables.shape[1]]
    f1 = np.where(true + called > 0, 2 * right / np.maximum(true + called, 1), 0.0)
    return f1[:, classes].mean(axis=1), np.where(true > 0, right / np.maximum(true, 1), np.nan)


@pytest.mark.parametrize("table", TABLES)
def test_the_plain_figures_of_these_tests_are_those_of_scikit_learn(table: np.ndarray) -> None:
    classes = np.flatnonzero(table.sum(axis=1)).tolist()
    macro, recall = plain_figures(table[None], classes)
    assert macro[0] == pytest.approx(reference_macro_f1(table, classes), abs=1e-12)
    np.testing.assert_allclose(recall[0], reference_recall(table), atol=1e-12)


@pytest.mark.parametrize("wrong", [0, 1, 2])
@pytest.mark.parametrize("table", TABLES)
def test_the_bounds_are_those_of_trying_every_relabelling(table: np.ndarray, wrong: int) -> None:
    tables = every_relabelling(table, wrong)
    classes = np.flatnonzero(table.sum(axis=1)).tolist()
    macro, recall = plain_figures(np.array(tables), classes)
    found = worst_case(table, wrong)
    assert found.macro_f1_low == pytest.approx(min(macro), abs=1e-12)
    assert found.recall_low == pytest.approx(np.nanmin(recall, axis=0), abs=1e-12)
    assert found.recall_high == pytest.approx(np.nanmax(recall, axis=0), abs=1e-12)
    # The upper bound of macro-F1 may lie above what can be reached, never below.
    assert max(macro) - 1e-12 <= found.macro_f1_high <= max(macro) + 0.02


def test_without_a_wrong_label_the_bounds_are_the_figures() -> None:
    found = worst_case(TABLES[0], 0)
    expected = reference_macro_f1(TABLES[0], [0, 1, 2])
    assert (found.macro_f1_low, found.macro_f1_high) == pytest.approx((expected, expected))
    assert found.recall_low == pytest.approx(reference_recall(TABLES[0]))
    assert found.recall_low == found.recall_high


def test_more_wrong_labels_never_narrow_the_bounds() -> None:
    bounds = [worst_case(TABLES[0] * 5, wrong) for wrong in range(12)]
    assert all(np.diff([b.macro_f1_low for b in bounds]) <= 0)
    assert all(np.diff([b.macro_f1_high for b in bounds]) >= 0)


@pytest.mark.parametrize("label_error", [0.03, 0.15])
def test_random_errors_are_undone_on_average(label_error: float) -> None:
    rng = np.random.default_rng(6)
    right = np.array([[80.0, 10, 10, 5], [20, 60, 10, 10], [5, 10, 90, 0]])
    truth, answer = (np.array(column) for column in rows_of(right))
    undone, seen = [], []
    for _ in range(300):
        swapped = np.where(
            rng.random(len(truth)) < label_error, (truth + rng.integers(1, 3, len(truth))) % 3, truth
        )
        table = np.zeros((3, 4))
        np.add.at(table, (swapped, answer), 1)
        found = random_errors(table, label_error)
        undone.append([*found.recall, found.macro_f1])
        macro, recall = plain_figures(table[None], [0, 1, 2])
        seen.append([*recall[0], macro[0]])
    expected = np.array([*reference_recall(right), reference_macro_f1(right, [0, 1, 2])])
    np.testing.assert_allclose(np.mean(undone, axis=0), expected, atol=0.01)
    if label_error > 0.1:
        assert np.abs(np.mean(seen, axis=0) - expected).max() > 0.05


def test_a_label_error_that_leaves_no_information_is_refused() -> None:
    with pytest.raises(ValueError, match=r"expected 0 <= error < 0\.67"):
        random_errors(TABLES[0], 2 / 3)
    with pytest.raises(ValueError, match="expected 0 or more"):
        worst_case(TABLES[0], -1)


def matrix(cells: dict[tuple[str, str], int]) -> ConfusionMatrix:
    return ConfusionMatrix(
        counts=tuple(tuple(cells.get((row, column), 0) for column in MATRIX_COLUMNS) for row in MATRIX_ROWS)
    )


CELLS = {
    ("pinhole", "pinhole"): 40,
    ("pinhole", "missed"): 4,
    ("edge_notch", "edge_notch"): 30,
    ("edge_notch", "pinhole"): 6,
    ("sound", "sound"): 18,
    ("sound", "unclassified"): 2,
}


def test_the_record_holds_one_entry_a_rate_and_only_classes_with_sections() -> None:
    figures = label_error_figures(matrix(CELLS))
    assert tuple(entry.label_error for entry in figures) == LABEL_ERROR_RATES
    for entry in figures:
        assert set(entry.recall_low) == set(entry.recall_high) == {"pinhole", "edge_notch", "sound"}
        assert entry.macro_f1_low < entry.macro_f1_random < entry.macro_f1_high
        for label, low in entry.recall_low.items():
            assert low < entry.recall_random[label] <= entry.recall_high[label]


@pytest.mark.parametrize(("rate", "wrong"), [(0.01, 1), (0.011, 2), (0.07, 7)])
def test_the_number_of_wrong_labels_among_a_hundred_is_rounded_up(rate: float, wrong: int) -> None:
    (entry,) = label_error_figures(matrix(CELLS), rates=[rate])
    # By hand: wrong labels do most harm where they join the 44 sections of the class, or leave it.
    lost = [(40 - leave) / (44 - leave + wrong - leave) for leave in range(wrong + 1)]
    assert entry.recall_low["pinhole"] == pytest.approx(min(lost))


def test_quiet_sound_sections_change_nothing() -> None:
    quiet = matrix({**CELLS, ("sound", "missed"): 500})
    assert label_error_figures(quiet) == label_error_figures(matrix(CELLS))


def test_an_empty_matrix_has_no_figures() -> None:
    assert label_error_figures(matrix({})) == ()

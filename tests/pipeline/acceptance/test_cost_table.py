"""The cost table: every cell, and tables that make no sense."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from seamtell.pipeline.acceptance.cost_table import CostTable, cost_matrix, cost_rows
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS

TABLE = CostTable(
    missed_class=50, wrong_class=5, needless_cut=2, unlabelled=1, missed={"lack_of_fusion": 200}
)


@pytest.mark.parametrize(
    ("truth", "answer", "cost"),
    [
        ("pinhole", "pinhole", 0),
        ("pinhole", "mismatch", 5),
        ("pinhole", "sound", 50),
        ("pinhole", "missed", 50),
        ("lack_of_fusion", "sound", 200),
        ("lack_of_fusion", "missed", 200),
        ("pinhole", "unclassified", 1),
        ("sound", "unclassified", 1),
        ("sound", "pinhole", 2),
        ("sound", "sound", 0),
        ("sound", "missed", 0),
    ],
)
def test_every_kind_of_answer_has_its_cost(truth: str, answer: str, cost: float) -> None:
    assert TABLE.cost(truth, answer) == cost


def test_the_matrix_holds_the_cost_of_every_cell() -> None:
    matrix = cost_matrix(TABLE)
    assert matrix.shape == (len(MATRIX_ROWS), len(MATRIX_COLUMNS))
    assert all(
        matrix[i, j] == TABLE.cost(truth, answer)
        for i, truth in enumerate(MATRIX_ROWS)
        for j, answer in enumerate(MATRIX_COLUMNS)
    )


def test_rows_read_the_matrix() -> None:
    costs = cost_rows(TABLE, np.array(["pinhole", "sound"]), np.array(["sound", "mismatch"]))
    assert costs.tolist() == [50, 2]


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        ({"missed_class": 1, "wrong_class": 5}, "a missed flaw costs 1, less than a wrong class"),
        ({"missed": {"pinhole": 0.5}}, "a missed flaw costs 0.5"),
        ({"missed": {"sound": 3}}, "'sound' cannot be missed"),
        ({"missed": {"crack": 3}}, "missed.crack"),
        ({"needless_cut": -1}, "greater than or equal to 0"),
        ({"missed": {"pinhole": -60}}, "got a negative cost"),
        ({"mised_class": 3}, "Extra inputs are not permitted"),
        ({"missed_class": 0, "wrong_class": 0, "needless_cut": 0, "unlabelled": 0}, "all costs are zero"),
        ({"missed_class": float("inf")}, "finite number"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused(table: dict[str, object], complaint: str) -> None:
    with pytest.raises(ValidationError, match=complaint):
        CostTable.model_validate(table)

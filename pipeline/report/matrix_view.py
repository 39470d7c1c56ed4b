"""The confusion matrix as it is drawn: counts, shares of the row, row ends, column feet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.pipeline.evaluation.result import MISSED

if TYPE_CHECKING:
    from seamtell.pipeline.evaluation.result import ClassFigures, ConfusionMatrix, Estimate

__all__ = ["FEW", "MatrixCell", "MatrixRow", "MatrixView", "matrix_view"]

FEW = 20
"""A row with fewer sections than this says so in words."""


@dataclass(frozen=True)
class MatrixCell:
    """One cell: how many sections, and which share of its row."""

    answer: str
    count: int
    share: float
    diagonal: bool
    quiet: bool
    """Sound and nothing indicated: right, though it stands in the column of the missed."""


@dataclass(frozen=True)
class MatrixRow:
    """All sections of one truth."""

    truth: str
    total: int
    named: tuple[MatrixCell, ...]
    unknown: tuple[MatrixCell, ...]
    """Unclassified and missed, drawn after a gap."""
    recall: Estimate | None
    few: bool


@dataclass(frozen=True)
class MatrixView:
    """The whole matrix."""

    answers: tuple[str, ...]
    unknown: tuple[str, ...]
    rows: tuple[MatrixRow, ...]
    precision: tuple[Estimate | None, ...]
    finding: str


def _finding(matrix: ConfusionMatrix) -> str:
    errors = [
        (matrix.count(truth, answer), truth, answer)
        for truth in matrix.rows
        for answer in matrix.columns
        if answer not in (truth, UNCLASSIFIED, MISSED)
    ]
    right = sum(matrix.count(truth, truth) for truth in matrix.rows)
    total = sum(sum(row) for row in matrix.counts)
    quiet = matrix.count(Flaw.SOUND.value, MISSED)
    unanswered = sum(matrix.count(truth, UNCLASSIFIED) for truth in matrix.rows)
    text = f"{right} of {total} sections lie on the diagonal, {unanswered} are unclassified"
    if quiet:
        text += f", {quiet} are sound with nothing indicated"
    most, truth, answer = max(errors, key=lambda error: error[0])
    if most == 0:
        return f"{text}; no section got a wrong label."
    return (
        f"{text}; the most frequent error is {truth.replace('_', ' ')} "
        f"named {answer.replace('_', ' ')} ({most} sections)."
    )


def matrix_view(matrix: ConfusionMatrix, per_class: Sequence[ClassFigures]) -> MatrixView:
    """Arrange `matrix` for drawing; figures of classes come from `per_class`."""
    figures = {figure.label: figure for figure in per_class}
    unknown = tuple(column for column in matrix.columns if column in (UNCLASSIFIED, MISSED))
    answers = tuple(column for column in matrix.columns if column not in unknown)
    rows = []
    for truth in matrix.rows:
        total = sum(matrix.count(truth, column) for column in matrix.columns)
        cells = {
            column: MatrixCell(
                answer=column,
                count=matrix.count(truth, column),
                share=matrix.count(truth, column) / total if total else 0.0,
                diagonal=column == truth,
                quiet=truth == Flaw.SOUND.value and column == MISSED,
            )
            for column in matrix.columns
        }
        rows.append(
            MatrixRow(
                truth=truth,
                total=total,
                named=tuple(cells[column] for column in answers),
                unknown=tuple(cells[column] for column in unknown),
                recall=figures[truth].recall if truth in figures else None,
                few=total < FEW,
            )
        )
    precision = tuple(figures[answer].precision if answer in figures else None for answer in answers)
    return MatrixView(answers, unknown, tuple(rows), precision, _finding(matrix))

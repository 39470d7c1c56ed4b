"""What an answer costs: the cost table that the quality engineer states in ``criteria.toml``.

The costs are relative: only their ratios choose a threshold. A flaw that a label calls
sound, or that nothing indicates, is *missed*. Costs act on labels only; what the limit
rule rejects stays rejected at any cost table.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, model_validator

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS, MISSED

__all__ = ["CostTable", "cost_matrix", "cost_rows"]


class CostTable(BaseModel):
    """The ``[costs]`` table of ``criteria.toml``.

    Examples
    --------
    >>> table = CostTable(missed_class=50, wrong_class=5, needless_cut=2, unlabelled=1)
    >>> table.cost("pinhole", "sound"), table.cost("pinhole", "mismatch"), table.cost("sound", "pinhole")
    (50.0, 5.0, 2.0)
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    missed_class: float = Field(default=50.0, ge=0)
    """A flaw that is called sound, or that nothing indicates."""
    wrong_class: float = Field(default=5.0, ge=0)
    """A flaw that is called another flaw."""
    needless_cut: float = Field(default=2.0, ge=0)
    """A sound seam that is called a flaw."""
    unlabelled: float = Field(default=1.0, ge=0)
    """An indication without a label: somebody must look without a hint."""
    missed: dict[Flaw, float] = Field(default_factory=dict)
    """Cost of a missed flaw of one class, where it differs from ``missed_class``."""

    @model_validator(mode="after")
    def _makes_sense(self) -> CostTable:
        if Flaw.SOUND in self.missed:
            raise ValueError("'sound' cannot be missed: take it out of [costs.missed]")
        if any(not cost >= 0 for cost in self.missed.values()):
            raise ValueError("got a negative cost in [costs.missed], expected 0 or more")
        least = min([self.missed_class, *self.missed.values()])
        if least < max(self.wrong_class, self.unlabelled):
            raise ValueError(
                f"a missed flaw costs {least:g}, less than a wrong class or no label: "
                "the cheapest answer would then be to call everything sound"
            )
        if max(self.wrong_class, self.needless_cut, self.unlabelled, least) == 0:
            raise ValueError("all costs are zero")
        return self

    def cost(self, truth: str, answer: str) -> float:
        """Cost of one answer (a label, ``unclassified`` or ``missed``) where the section found `truth`."""
        if truth == answer or (truth == Flaw.SOUND and answer == MISSED):
            return 0.0
        if answer == UNCLASSIFIED:
            return self.unlabelled
        if truth == Flaw.SOUND:
            return self.needless_cut
        if answer in (MISSED, Flaw.SOUND):
            return self.missed.get(Flaw(truth), self.missed_class)
        return self.wrong_class


def cost_matrix(
    table: CostTable, rows: Sequence[str] = MATRIX_ROWS, columns: Sequence[str] = MATRIX_COLUMNS
) -> NDArray[np.float64]:
    """Cost of every cell of the confusion matrix, shape (n_rows, n_columns)."""
    return np.array([[table.cost(truth, answer) for answer in columns] for truth in rows], dtype=np.float64)


def cost_rows(table: CostTable, truths: NDArray[np.str_], answers: NDArray[np.str_]) -> NDArray[np.float64]:
    """Cost of each section, shape (n,)."""
    matrix = cost_matrix(table)
    row = {name: i for i, name in enumerate(MATRIX_ROWS)}
    column = {name: i for i, name in enumerate(MATRIX_COLUMNS)}
    places = [row[str(truth)] for truth in truths], [column[str(answer)] for answer in answers]
    return np.asarray(matrix[places], dtype=np.float64)

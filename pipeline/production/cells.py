"""Decided seams counted by the values of some columns and by coil: what every mix is added up from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.production.decided import ANSWERS, Coded, DecidedIndications, DecidedSeams

__all__ = ["Cells", "count_cells"]

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Cells:
    """Seams of one coil that are alike in some columns make a cell; arrays of shape (c, …).

    Parameters
    ----------
    groups : mapping of str to Coded
        Of each column the groups, with the place of each cell's own.
    strata : int array of shape (c, 2 a)
        Indications by answer: not above the limit, then the same answers above it.
    seams : int array of shape (c,)
    parts, metres : float array of shape (c,)
        Parts that were welded, and inspected length.
    """

    groups: Mapping[str, Coded]
    strata: NDArray[np.int64]
    seams: NDArray[np.int64]
    parts: NDArray[np.float64]
    metres: NDArray[np.float64]

    @property
    def answers(self) -> NDArray[np.int64]:
        """Indications by answer, below and above the limit together, shape (c, a)."""
        return np.asarray(self.strata[:, : len(ANSWERS)] + self.strata[:, len(ANSWERS) :])

    @property
    def all(self) -> Mask:
        """Every cell."""
        return np.ones(len(self.seams), np.bool_)

    def of(self, column: str, name: str) -> Mask:
        """Cells of one group."""
        own = self.groups[column]
        return np.asarray(own.codes == own.names.index(name))


def count_cells(seams: DecidedSeams, indications: DecidedIndications, columns: Sequence[str]) -> Cells:
    """Count by the values of `columns` and by coil.

    Raises
    ------
    BadInput
        An unknown column, or one with too many values.
    """
    groups = {column: seams.group_by(column) for column in columns}
    keys = [*(one.codes for one in groups.values()), seams.coils().codes]
    kinds, cell = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)
    cell, width = cell.reshape(-1), 2 * len(ANSWERS)
    strata = np.bincount(
        cell[indications.seam] * width + indications.stratum, minlength=len(kinds) * width
    ).reshape(len(kinds), width)
    return Cells(
        groups={name: Coded(one.names, kinds[:, k]) for k, (name, one) in enumerate(groups.items())},
        strata=strata,
        seams=np.bincount(cell, minlength=len(kinds)),
        parts=np.bincount(cell, weights=seams.parts, minlength=len(kinds)).astype(np.float64),
        metres=np.bincount(cell, weights=seams.metres, minlength=len(kinds)).astype(np.float64),
    )

"""Decided seams counted by the values of some columns and by coil: what every mix is added up from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.production.decided import ANSWERS, Coded, DecidedIndications, DecidedSeams
from seamtell.pipeline.production.height_bins import EVERY_HEIGHT, HeightBins

__all__ = ["Cells", "count_cells"]

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Cells:
    """Seams of one coil that are alike in some columns make a cell; arrays of shape (c, …).

    Parameters
    ----------
    groups : mapping of str to Coded
        Of each column the groups, with the place of each cell's own.
    strata : int array of shape (c, b a)
        Indications by answer, bin of height after bin of height.
    smaller : int array of shape (c,)
        Indications below the lowest bin: they are in no stratum.
    seams : int array of shape (c,)
    parts, metres : float array of shape (c,)
        Parts that were welded, and inspected length.
    """

    groups: Mapping[str, Coded]
    strata: NDArray[np.int64]
    smaller: NDArray[np.int64]
    seams: NDArray[np.int64]
    parts: NDArray[np.float64]
    metres: NDArray[np.float64]

    @property
    def answers(self) -> NDArray[np.int64]:
        """Indications by answer, whatever their height, shape (c, a)."""
        return np.asarray(self.strata.reshape(len(self.strata), -1, len(ANSWERS)).sum(axis=1))

    @property
    def all(self) -> Mask:
        """Every cell."""
        return np.ones(len(self.seams), np.bool_)

    def of(self, column: str, name: str) -> Mask:
        """Cells of one group; none of a name that is not there."""
        own = self.groups[column]
        code = own.names.index(name) if name in own.names else -1
        return np.asarray(own.codes == code)


def count_cells(
    seams: DecidedSeams,
    indications: DecidedIndications,
    columns: Sequence[str],
    bins: HeightBins = EVERY_HEIGHT,
) -> Cells:
    """Count by the values of `columns` and by coil, in strata of answer and height.

    Raises
    ------
    BadInput
        An unknown column, or one with too many values.
    """
    groups = {column: seams.group_by(column) for column in columns}
    keys = [*(one.codes for one in groups.values()), seams.coils().codes]
    kinds, cell = np.unique(np.stack(keys, axis=1), axis=0, return_inverse=True)
    cell, width = cell.reshape(-1), bins.count * len(ANSWERS)
    of_indication, height = cell[indications.seam], bins.of(indications.height_share, indications.above)
    told = height >= 0
    stratum = indications.answer[told] + len(ANSWERS) * height[told]
    strata = np.bincount(of_indication[told] * width + stratum, minlength=len(kinds) * width)
    return Cells(
        groups={name: Coded(one.names, kinds[:, k]) for k, (name, one) in enumerate(groups.items())},
        strata=strata.reshape(len(kinds), width),
        smaller=np.bincount(of_indication[~told], minlength=len(kinds)),
        seams=np.bincount(cell, minlength=len(kinds)),
        parts=np.bincount(cell, weights=seams.parts, minlength=len(kinds)).astype(np.float64),
        metres=np.bincount(cell, weights=seams.metres, minlength=len(kinds)).astype(np.float64),
    )

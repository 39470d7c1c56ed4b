"""Simulated flaws beside sections in one fit: which rows join, and how much each counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import LabelledTable
from seamtell.models.simulated_table import SimulatedTable

__all__ = ["FitRows", "SimulatedRows", "join_rows", "simulated_rows"]


@dataclass(frozen=True, eq=False)
class SimulatedRows:
    """Simulated flaws of the classes that are learnt.

    Parameters
    ----------
    values : array of shape (m, d)
    codes : int array of shape (m,)
        Class of each row, in the codes of the sections.
    groups : str array of shape (m,)
    """

    values: NDArray[np.float64]
    codes: NDArray[np.int64]
    groups: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.codes)


@dataclass(frozen=True, eq=False)
class FitRows:
    """What a candidate is fitted on: arrays of shape (n, d), (n,), (n,) and (n,)."""

    values: NDArray[np.float64]
    codes: NDArray[np.int64]
    weights: NDArray[np.float64]
    groups: NDArray[np.str_]


def simulated_rows(
    simulated: SimulatedTable, table: LabelledTable, classes: tuple[str, ...]
) -> SimulatedRows:
    """Take the simulated flaws of `classes`; the others, which no section could judge, are dropped.

    Raises
    ------
    SeamtellError
        Other descriptors, or other definitions of them, than the sections have.
    """
    if simulated.names != table.names or simulated.schema_digest != table.schema_digest:
        raise SeamtellError(
            "the simulated flaws have other descriptors than the sections",
            where=f"simulated flaws, origin {simulated.origin}",
            do="run 'seamtell implant' again",
        )
    kept = simulated.rows(np.isin(simulated.truths, classes))
    codes = np.array([classes.index(truth) for truth in kept.truths.tolist()], dtype=np.int64)
    return SimulatedRows(kept.values, codes, kept.groups)


def join_rows(
    table: LabelledTable,
    codes: NDArray[np.int64],
    k: int,
    simulated: SimulatedRows | None = None,
    weight: float = 0.0,
    unseen_groups: NDArray[np.str_] | None = None,
) -> FitRows:
    """Join sections and simulated flaws for one fit.

    The sections count as they do alone: every class the same, a section 1 on
    average. The simulated flaws of a class together count `weight` times what
    its sections do. Where a class has none, its sections count ``1 + weight``
    times as much, so that the classes stay even.

    Parameters
    ----------
    table : LabelledTable
        The sections to fit on.
    codes : int array of shape (n,)
    k : int
        Number of classes.
    simulated : SimulatedRows, optional
    weight : float
        At 0 no simulated flaw joins.
    unseen_groups : str array, optional
        Coils and seams that the fit must not see: no simulated flaw in them joins.
    """
    own = balanced_weights(codes, k)
    if simulated is None or weight == 0:
        return FitRows(table.values, codes, own, table.groups)
    if unseen_groups is not None:
        fresh = ~np.isin(simulated.groups, unseen_groups)
        simulated = SimulatedRows(simulated.values[fresh], simulated.codes[fresh], simulated.groups[fresh])
    counts = np.bincount(simulated.codes, minlength=k)
    # A class without a section in this fit has no say here: its flaws cannot be weighed against any.
    class_total = np.bincount(codes, weights=own, minlength=k)
    theirs = weight * class_total[simulated.codes] / counts[simulated.codes]
    own = np.where(counts[codes] == 0, own * (1 + weight), own)
    joins = theirs > 0
    return FitRows(
        values=np.vstack([table.values, simulated.values[joins]]),
        codes=np.concatenate([codes, simulated.codes[joins]]),
        weights=np.concatenate([own, theirs[joins]]),
        groups=np.concatenate([table.groups, simulated.groups[joins]]),
    )

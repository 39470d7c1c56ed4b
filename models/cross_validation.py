"""Out-of-fold probabilities of a candidate, by group and by size band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.models.candidates import CANDIDATES
from seamtell.models.labelled_table import LabelledTable
from seamtell.models.simulated_rows import SimulatedRows, join_rows
from seamtell.models.splits import assert_no_leak

__all__ = [
    "SIZE_BANDS",
    "SizeBandResult",
    "cross_validate",
    "size_band_validate",
    "size_bands",
]

SIZE_BANDS = 3
"""Small, middling and large flaws of each class."""
_FEWEST_SIZES = 6
"""A class with fewer known sizes is not cut into bands."""


def cross_validate(
    name: str,
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    folds: NDArray[np.int64],
    seed: int,
    simulated: SimulatedRows | None = None,
    weight: float = 0.0,
) -> NDArray[np.float64]:
    """Return uncalibrated probabilities of shape (n, K), each from a fit without the row's fold.

    Simulated flaws may join the fits, never the questions; those put into a coil or
    seam of the row's fold stay out of its fit.

    Raises
    ------
    SeamtellError
        A group lies on both sides of a fold.
    """
    out_of_fold = np.empty((len(table), len(classes)))
    for fold in np.unique(folds):
        here = folds == fold
        out_of_fold[here] = _fit_and_ask(
            name, table, codes, classes, ~here, here, seed, simulated=simulated, weight=weight
        )
    return out_of_fold


def _fit_and_ask(
    name: str,
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    train: NDArray[np.bool_],
    test: NDArray[np.bool_],
    seed: int,
    *,
    simulated: SimulatedRows | None,
    weight: float,
) -> NDArray[np.float64]:
    unseen = table.groups[test]
    rows = join_rows(table.rows(train), codes[train], len(classes), simulated, weight, unseen)
    assert_no_leak(rows.groups, unseen)
    fitted = CANDIDATES[name]().fit(
        rows.values, rows.codes, rows.weights, table.names, classes, seed, rows.groups
    )
    return fitted.predict_proba(table.values[test])


@dataclass(frozen=True, eq=False)
class SizeBandResult:
    """Answers to flaws of sizes that the fit had not seen.

    Parameters
    ----------
    rows : bool array of shape (n,)
        Rows that were asked: those in a band.
    probabilities : array of shape (n, K)
        Uncalibrated; NaN in the other rows.
    """

    rows: NDArray[np.bool_]
    probabilities: NDArray[np.float64]


def size_bands(sizes_mm: NDArray[np.float64], codes: NDArray[np.int64]) -> NDArray[np.int64]:
    """Cut the known sizes of each class into thirds.

    Parameters
    ----------
    sizes_mm : array of shape (n,)
        NaN where unknown.
    codes : int array of shape (n,)

    Returns
    -------
    int array of shape (n,)
        0, 1, 2 from small to large; -1 where the size is unknown, or the class
        has too few or too equal sizes.

    Examples
    --------
    >>> size_bands(np.array([3.0, 1.0, 2.0, 6.0, 5.0, 4.0, np.nan]), np.zeros(7, dtype=int)).tolist()
    [1, 0, 0, 2, 2, 1, -1]
    """
    bands = np.full(len(codes), -1, dtype=np.int64)
    for c in np.unique(codes):
        rows = np.flatnonzero((codes == c) & np.isfinite(sizes_mm))
        edges = np.quantile(sizes_mm[rows], [1 / 3, 2 / 3]) if len(rows) >= _FEWEST_SIZES else np.array([])
        cut = np.searchsorted(edges, sizes_mm[rows], side="left")
        if len(np.unique(cut)) == SIZE_BANDS:
            bands[rows] = cut
    return bands


def size_band_validate(
    name: str,
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    folds: NDArray[np.int64],
    seed: int,
    simulated: SimulatedRows | None = None,
    weight: float = 0.0,
) -> SizeBandResult | None:
    """Cross-validate with one third of the sizes of each class unseen, and the row's fold as well.

    Few sections mean few sizes: a flexible candidate that only ever saw 5 mm
    notches may fail at 3 mm and 8 mm, which folds by group alone do not show.
    Simulated flaws keep all their sizes: that is what they are for.

    Parameters
    ----------
    simulated : SimulatedRows, optional
    weight : float
        Of the simulated flaws; at 0 none joins.

    Returns
    -------
    SizeBandResult or None
        None when the table has no sizes to cut into bands.
    """
    if table.sizes_mm is None:
        return None
    bands = size_bands(table.sizes_mm, codes)
    probabilities = np.full((len(table), len(classes)), np.nan)
    for band in range(SIZE_BANDS):
        for fold in np.unique(folds).tolist():
            test = (folds == fold) & (bands == band)
            train = (folds != fold) & (bands != band)
            if test.any() and set(codes[train]) == set(codes):
                probabilities[test] = _fit_and_ask(
                    name, table, codes, classes, train, test, seed, simulated=simulated, weight=weight
                )
    asked = np.isfinite(probabilities).all(axis=1)
    return SizeBandResult(asked, probabilities) if asked.any() else None

"""Sums over the descriptors of each row, in an order that no batch, thread or processor changes.

A matrix product of a linear-algebra library would be as fast, but picks its order by the
number of rows; the same seam in another batch would then differ in its last bits. A kernel of this
folder calls nothing of another file and reads no constant from there, so that kept code is never stale.
"""

from __future__ import annotations

from functools import cache
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.aligned import aligned_empty
from seamtell.features.machine_code import kept

__all__ = ["nearest_distances", "row_products"]

_SIDE_BY_SIDE = 32
"""Rows in one go. Kernels see it by their memory: a loop of known length is unrolled and not vectorised."""


def row_products(values: NDArray[np.float64], matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return ``values @ matrix``.

    Parameters
    ----------
    values : array of shape (n, d)
    matrix : array of shape (d, k)

    Returns
    -------
    array of shape (n, k)
    """
    rows, columns = _plain(values), _plain(matrix.T)
    if rows.shape[1] != columns.shape[1]:
        raise ValueError(f"got rows of {rows.shape[1]}, expected {columns.shape[1]}")
    out = np.empty((len(rows), len(columns)))
    block, total = _lanes(rows.shape[1]), _lanes(1)[0]
    _products()(rows, columns, block, total, out)
    return out


def nearest_distances(
    values: NDArray[np.float64], matrix: NDArray[np.float64], centres: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the distance of each row of ``values @ matrix`` to the nearest of the centres.

    Parameters
    ----------
    values : array of shape (n, d)
    matrix : array of shape (d, e)
    centres : array of shape (k, e)

    Returns
    -------
    array of shape (n,)
        Infinite where a sum overflows.
    """
    rows, columns, points = _plain(values), _plain(matrix.T), _plain(centres)
    if rows.shape[1] != columns.shape[1] or len(columns) != points.shape[1]:
        raise ValueError(
            f"got rows of {rows.shape[1]} and centres of {points.shape[1]}, expected {columns.shape}"
        )
    # A column of a triangular matrix begins with zeros, which add nothing to a sum.
    first = (columns != 0).argmax(axis=1).astype(np.int64)
    out = np.empty(len(rows))
    block, total, squared = _lanes(rows.shape[1]), _lanes(1)[0], _lanes(len(points))
    _distances()(rows, columns, first, points, block, total, squared, out)
    return out


def _lanes(rows: int) -> NDArray[np.float64]:
    """Working memory of a kernel: as many rows, one lane for each row of values in one go."""
    lanes = aligned_empty((rows, _SIDE_BY_SIDE), np.float64)
    lanes[:] = 0.0
    return lanes


def _plain(array: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.ascontiguousarray(array, dtype=np.float64)


_TABLE = "Array(float64, 2, 'C', readonly=True)"
_LANES = "float64[:, ::1], float64[::1]"


@cache
def _products() -> Any:
    return kept(_multiply, f"void({_TABLE}, {_TABLE}, {_LANES}, float64[:, ::1])")


@cache
def _distances() -> Any:
    return kept(
        _measure,
        f"void({_TABLE}, {_TABLE}, Array(int64, 1, 'C', readonly=True), {_TABLE}, "
        f"{_LANES}, float64[:, ::1], float64[::1])",
    )


def _multiply(values, columns, block, total, out):  # type: ignore[no-untyped-def]  # compiled by numba
    n, d = values.shape
    width = len(total)
    for begin in range(0, n, width):
        rows = min(width, n - begin)
        for j in range(rows):
            for i in range(d):
                block[i, j] = values[begin + j, i]
        for k in range(len(columns)):
            total[:] = 0.0
            for i in range(d):
                own, factor = block[i], columns[k, i]
                for j in range(width):
                    total[j] += own[j] * factor
            for j in range(rows):
                out[begin + j, k] = total[j]


def _measure(  # type: ignore[no-untyped-def]  # compiled by numba
    values, columns, first, centres, block, total, squared, out
):
    n, d = values.shape
    width = len(total)
    for begin in range(0, n, width):
        rows = min(width, n - begin)
        for j in range(rows):
            for i in range(d):
                block[i, j] = values[begin + j, i]
        squared[:] = 0.0
        for e in range(len(columns)):
            total[:] = 0.0
            for i in range(first[e], d):
                own, factor = block[i], columns[e, i]
                for j in range(width):
                    total[j] += own[j] * factor
            for k in range(len(centres)):
                summed, centre = squared[k], centres[k, e]
                for j in range(width):
                    summed[j] += (total[j] - centre) * (total[j] - centre)
        for j in range(rows):
            nearest = squared[0, j]
            for k in range(1, len(centres)):
                # A sum that is no number has overflowed; it stays, and does not hide behind another.
                if nearest == nearest and not squared[k, j] >= nearest:
                    nearest = squared[k, j]
            out[begin + j] = sqrt(nearest) if nearest == nearest else np.inf

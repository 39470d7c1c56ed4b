"""Checks that every table of descriptors has to pass, whatever its rows are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError

__all__ = ["check_finite", "check_shapes"]


def check_shapes(
    values: NDArray[np.float64],
    names: tuple[str, ...],
    columns: Mapping[str, NDArray[Any] | None],
    n: int,
    where: str,
) -> None:
    """Refuse descriptors that are not of shape (n, d), and columns that are not of shape (n,).

    Raises
    ------
    SeamtellError
        Names the first that disagrees.
    """
    if values.shape != (n, len(names)):
        raise SeamtellError(
            f"got descriptors of shape {values.shape}, expected {(n, len(names))}", where=where
        )
    for label, column in columns.items():
        if column is not None and column.shape != (n,):
            raise SeamtellError(f"got '{label}' of shape {column.shape}, expected {(n,)}")


def check_finite(
    values: NDArray[np.float64], names: tuple[str, ...], row_name: Callable[[int], str], do: str
) -> None:
    """Refuse a descriptor that is not a finite number.

    Raises
    ------
    SeamtellError
        Names the first one and its row, and says how many there are.
    """
    bad = np.argwhere(~np.isfinite(values))
    if len(bad):
        row, column = bad[0]
        raise SeamtellError(
            f"descriptor '{names[column]}' is {values[row, column]}, "
            f"expected a finite number ({len(bad)} such values in all)",
            where=row_name(int(row)),
            do=do,
        )

"""Described indications with what is known of each, kept as one ``.npz`` file without pickle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

__all__ = ["Rows", "joined", "load_rows", "save_rows"]


@dataclass(frozen=True, eq=False)
class Rows:
    """One row an indication.

    Parameters
    ----------
    values : array of shape (n, d)
        The descriptors that classifiers read, in the order of the registry.
    labels : str array of shape (n,)
        What the examiner wrote, slips included; the drawn class of a simulated flaw.
    hidden : str array of shape (n,)
        What truly is there.
    sizes_mm : array of shape (n,)
        Length along the seam as measured; NaN for sound.
    depth_share : array of shape (n,)
        Depth over the mean thickness of the joint; NaN for sound.
    groups, recipes : str array of shape (n,)
        Coil (or seam); recipe.
    """

    values: NDArray[np.float64]
    labels: NDArray[np.str_]
    hidden: NDArray[np.str_]
    sizes_mm: NDArray[np.float64]
    depth_share: NDArray[np.float64]
    groups: NDArray[np.str_]
    recipes: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.labels)

    def take(self, which: NDArray[np.bool_] | NDArray[np.int64]) -> Rows:
        """Rows of a mask or of numbers, in that order."""
        return Rows(*(getattr(self, one.name)[which] for one in fields(self)))


def joined(parts: Sequence[Rows]) -> Rows:
    """Rows of all `parts`, one after the other."""
    return Rows(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Rows)))


def save_rows(path: Path, rows: Rows) -> None:
    """Write through a neighbouring file, so that an interrupted run leaves no half."""
    half = path.with_suffix(".half.npz")
    np.savez_compressed(half, **{one.name: getattr(rows, one.name) for one in fields(rows)})
    half.replace(path)


def load_rows(path: Path) -> Rows:
    """Read what `save_rows` wrote."""
    with np.load(path, allow_pickle=False) as archive:
        return Rows(*(archive[one.name] for one in fields(Rows)))

"""Where along the seam indications lie, against what a seam without preference would show.

Positions are counted in bins from the start, from the end, and relative to the length. How much
seam lies in a bin is not the same for all: seams differ in length, and near both ends nothing
is told (the dead zone of the limits), or less than all of an indication. Those
stretches are left out on both sides of the comparison: the density of a bin is its
count over the metres inspected in it. Indications count whatever their label is, for
where a thing lies does not depend on what it is called.

References
----------
Garwood, F. (1936). Fiducial limits for the Poisson distribution. Biometrika 28, 437-442.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

__all__ = ["Measured", "covered_metres", "poisson_interval", "uniform_p"]


class Measured(StrEnum):
    """Where a position is measured from."""

    START = "from_start"
    END = "from_end"
    RELATIVE = "relative"

    @property
    def words(self) -> str:
        """In words."""
        return self.value.replace("_", " ")


def covered_metres(
    first_mm: NDArray[np.float64], last_mm: NDArray[np.float64], edges_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Metres that seams from `first_mm` to `last_mm` lay into each bin, shape (b,).

    Examples
    --------
    >>> covered_metres(np.array([0.0, 500.0]), np.array([1000.0, 1500.0]), np.array([0.0, 500.0, 1000.0]))
    array([0.5, 1. ])
    """
    below = [np.clip(edge - first_mm, 0.0, np.maximum(last_mm - first_mm, 0.0)).sum() for edge in edges_mm]
    return np.diff(np.array(below)) / 1000.0


def poisson_interval(
    counts: NDArray[np.int64], level: float = 0.95
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Exact two-sided interval of Poisson means.

    Examples
    --------
    >>> low, high = poisson_interval(np.array([10]))
    >>> print(low.round(3), high.round(3))
    [4.795] [18.39]
    """
    tail = (1.0 - level) / 2.0
    counts = np.asarray(counts, dtype=np.float64)
    low = np.where(counts > 0, chi2.ppf(tail, 2.0 * np.maximum(counts, 1.0)) / 2.0, 0.0)
    return low, np.asarray(chi2.ppf(1.0 - tail, 2.0 * counts + 2.0) / 2.0)


def uniform_p(
    counts: NDArray[np.int64],
    metres: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    worlds: int = 999,
) -> float:
    """P-value of one density in all bins, by the Kolmogorov-Smirnov distance.

    Bins make the distance smaller than its tables expect, so its distribution is drawn.
    """
    known = metres > 0
    shown, share = counts[known], metres[known] / max(metres.sum(), 1e-300)
    n = int(shown.sum())
    if n == 0 or len(shown) < 2:
        return 1.0
    expected = np.cumsum(share)
    observed = np.abs(np.cumsum(shown) / n - expected).max()
    drawn = np.cumsum(rng.multinomial(n, share / share.sum(), size=worlds), axis=1) / n
    distance = np.abs(drawn - expected).max(axis=1)
    return float((1 + (distance >= observed - 1e-12).sum()) / (1 + worlds))

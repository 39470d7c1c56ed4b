"""Which indications look alike: distances in scaled descriptors, and groups of near-copies.

Two cuts at near-copies tell little more than one. Descriptors are scaled by their spread and
their rank of importance is not asked: a cut is to widen what was seen, not to please the model.
Indications of one coil, and those at one position of the seam (a fixture, a roll mark), count
as nearer than their descriptors say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["NEAR_COPY", "Looks", "near_copy_groups", "scaled"]

NEAR_COPY = 0.25
"""Root mean square difference of scaled descriptors below which two indications are near-copies."""
_SAME_COIL_FACTOR = 0.5
_SAME_POSITION_FACTOR = 0.7
_SAME_POSITION_MM = 15.0
_FARTHEST = 4.0


def scaled(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Descriptors by their median and interquartile range, held within four of them; shape kept.

    A descriptor that is not finite counts as the median; one that never varies as zero.
    """
    with np.errstate(all="ignore"):
        finite = np.where(np.isfinite(values), values, np.nan)
        known = np.isfinite(finite).any(axis=0)
        filled = np.where(known, finite, 0.0)
        low, middle, high = np.nanpercentile(filled, [25, 50, 75], axis=0)
        spread = high - low
        deviation = np.nanstd(filled, axis=0)
        unit = np.where(spread > 0, spread, np.where(deviation > 0, deviation, 1.0))
    return np.asarray(np.clip(np.nan_to_num((filled - middle) / unit, nan=0.0), -_FARTHEST, _FARTHEST))


@dataclass(frozen=True, eq=False)
class Looks:
    """What indications look like, and where they lie; arrays of shape (m,) but `points`.

    Parameters
    ----------
    points : array of shape (m, d)
        Scaled descriptors.
    seams, coils : str arrays
        Empty coils are unknown and equal to none.
    lines : str array
    position_mm : array
    """

    points: NDArray[np.float64]
    seams: NDArray[np.str_]
    coils: NDArray[np.str_]
    lines: NDArray[np.str_]
    position_mm: NDArray[np.float64]

    def distances(self, i: int, others: NDArray[np.int64]) -> NDArray[np.float64]:
        """Distances of indication `i` to `others`, shape (m,); zero within one seam."""
        differences = self.points[others] - self.points[i]
        apart = np.sqrt(np.mean(differences**2, axis=1)) if differences.shape[1] else np.ones(len(others))
        same_coil = (self.coils[others] == self.coils[i]) & (self.coils[i] != "")
        near = np.abs(self.position_mm[others] - self.position_mm[i]) <= _SAME_POSITION_MM
        same_place = near & (self.lines[others] == self.lines[i])
        apart = apart * np.where(same_coil, _SAME_COIL_FACTOR, 1.0)
        apart = apart * np.where(same_place, _SAME_POSITION_FACTOR, 1.0)
        return np.where(self.seams[others] == self.seams[i], 0.0, apart)

    def rows(self, chosen: NDArray[np.int64]) -> Looks:
        """Some of the indications."""
        return Looks(
            self.points[chosen],
            self.seams[chosen],
            self.coils[chosen],
            self.lines[chosen],
            self.position_mm[chosen],
        )


def near_copy_groups(
    looks: Looks, worth: NDArray[np.float64], radius: float = NEAR_COPY
) -> NDArray[np.int64]:
    """Group of each indication by its looks, shape (m,); groups are numbered by falling worth.

    The indication of most worth leads a group; whatever is within `radius` of a leader, and in no
    group yet, joins it. So two leaders are never near-copies, and no chain of small steps joins
    what looks different.
    """
    group = np.full(len(worth), -1, dtype=np.int64)
    count = 0
    for i in np.argsort(-worth, kind="stable").tolist():
        if group[i] >= 0:
            continue
        free = np.flatnonzero(group < 0)
        group[free[looks.distances(i, free) < radius]] = count
        group[i] = count
        count += 1
    return group

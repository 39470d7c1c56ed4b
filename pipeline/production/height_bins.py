"""Indications sorted by their height, so that like is compared with like.

Whoever chooses cuts looks at the height: high indications are cut more often than low ones, and the
lowest never. The answer of the classifier alone does not tell these apart (most of what is too low to
be cut is ``unclassified``), so that the sections of an answer would speak for indications that are
quite another thing. Within one answer *and* one bin of height the choice of cuts is taken to be blind.
Below the lowest bin there are too few sections to say anything, and nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["EVERY_HEIGHT", "HeightBins", "bins_of_sections"]

_LOWEST_SHARE = 0.10
_SECTIONS_A_BIN = 25
_MOST_BINS = 4


@dataclass(frozen=True)
class HeightBins:
    """Bins of the height as a share of the limit, and one for what exceeds the limit.

    Parameters
    ----------
    edges : tuple of float
        Lower ends of the bins below the limit, ascending.
    """

    edges: tuple[float, ...]

    @property
    def count(self) -> int:
        """How many, with the one above the limit."""
        return len(self.edges) + 1

    @property
    def lowest(self) -> float | None:
        """Height below which nothing is told; None when every height counts."""
        return None if np.isneginf(self.edges[0]) else self.edges[0]

    def of(self, height_share: NDArray[np.floating], above: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Bin of each indication, shape (k,); -1 below the lowest.

        Examples
        --------
        >>> bins = HeightBins((0.2, 0.5))
        >>> bins.of(np.array([0.1, 0.2, 0.7, 0.9]), np.array([False, False, False, True]))
        array([-1,  0,  1,  2])
        """
        below = np.searchsorted(np.array(self.edges), height_share, side="right") - 1
        return np.where(above, len(self.edges), below)


EVERY_HEIGHT = HeightBins((-np.inf,))
"""Below and above the limit, nothing left out."""


def bins_of_sections(below_limit: NDArray[np.float64]) -> HeightBins:
    """Bins that each hold sections enough.

    Parameters
    ----------
    below_limit : float array of shape (n,)
        Height of every section at an indication that does not exceed the limit. The lowest tenth
        of them is taken to be chance hits, and what is lower still is left out.
    """
    if len(below_limit) == 0:
        return EVERY_HEIGHT
    lowest = float(np.quantile(below_limit, _LOWEST_SHARE))
    kept = below_limit[below_limit >= lowest]
    count = int(np.clip(len(kept) // _SECTIONS_A_BIN, 1, _MOST_BINS))
    further = np.unique(np.quantile(kept, np.arange(1, count) / count))
    return HeightBins((lowest, *(float(edge) for edge in further if edge > lowest)))

"""What was found on many seams, as columns: what the compiled kernels give."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["DescribedBatch", "SeamStatus"]


class SeamStatus(IntEnum):
    """Whether a seam could be described; whatever is not `DESCRIBED` has no indications."""

    DESCRIBED = 0
    NO_LIMITS = 1
    """The limit file does not name the recipe."""
    MISSING_CHANNEL = 2
    """A well-known channel is missing, empty, or of another length than the others."""
    NOT_FINITE = 3
    """A sample is NaN or infinite."""


@dataclass(frozen=True, eq=False)
class DescribedBatch:
    """m indications of n seams with C channels, by seam and position.

    Parameters
    ----------
    status : int8 array of shape (n,)
        A `SeamStatus` each.
    dead_zone_indications : int32 array of shape (n,)
        Seen in the dead zones, counted, not judged.
    baseline_pct, noise_pct : float64 arrays of shape (n, C)
        Level of the baseline as a whole, and noise of single samples; NaN where not described.
    seam, indication : int32 arrays of shape (m,)
        Row of the seam in the batch; 0, 1, … on each seam.
    start_mm, end_mm, peak_mm : float64 arrays of shape (m,)
    shown, exceeded : bool arrays of shape (m, C)
        Channels that show the indication; channels with a sample above the limit in its extent.
    descriptors : float64 array of shape (m, n_descriptors)
        In the order of ``registry.names()``; always finite.
    """

    status: NDArray[np.int8]
    dead_zone_indications: NDArray[np.int32]
    baseline_pct: NDArray[np.float64]
    noise_pct: NDArray[np.float64]
    seam: NDArray[np.int32]
    indication: NDArray[np.int32]
    start_mm: NDArray[np.float64]
    end_mm: NDArray[np.float64]
    peak_mm: NDArray[np.float64]
    shown: NDArray[np.bool_]
    exceeded: NDArray[np.bool_]
    descriptors: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.seam)

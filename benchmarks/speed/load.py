"""The seams that every row of one run is measured on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import cycle, islice

import numpy as np
from big_store import SAMPLES, base_traces, indications_a_seam
from numpy.typing import NDArray

from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace
from seamtell.features.trace_batch import TraceBatch

__all__ = ["Load"]


@dataclass(frozen=True, eq=False)
class Load:
    """Different invented seams of `SAMPLES` samples, and their repetition as batches.

    Parameters
    ----------
    traces : list of SeamTrace
    indications_a_seam : float
        Counted by the kernel.
    """

    traces: list[SeamTrace]
    indications_a_seam: float

    @classmethod
    def invented(cls, seams: int) -> Load:
        """Invent `seams` seams."""
        traces = base_traces(seams)
        return cls(traces, indications_a_seam(traces))

    @property
    def samples(self) -> int:
        """Samples of each channel of a seam."""
        return SAMPLES

    @cached_property
    def limits(self) -> Mapping[str, RecipeLimits]:
        """Limits of the shop by recipe."""
        return {recipe.name: recipe.limits() for recipe in ShopPlan().recipes}

    @cached_property
    def amplitudes(self) -> NDArray[np.float32]:
        """All amplitudes of the different seams, shape (seams, channels, samples)."""
        return np.stack([[trace.amplitudes_pct[name] for name in CHANNELS] for trace in self.traces])

    def batch(self, seams: int) -> TraceBatch:
        """Repeat the seams until there are `seams` of them, each with samples of its own in memory."""
        return TraceBatch.of_traces(list(islice(cycle(self.traces), seams)))

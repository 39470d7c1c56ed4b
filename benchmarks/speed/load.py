"""The seams that every row of one run is measured on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import cycle, islice

import numpy as np
from big_store import SAMPLES, base_seams, cut
from numpy.typing import NDArray

from seamtell.data_synth.shop import InventedSeam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace
from seamtell.features.described_batch import DescribedBatch
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch

__all__ = ["Load"]


@dataclass(frozen=True, eq=False)
class Load:
    """Different invented seams of `SAMPLES` samples, and their repetition as batches.

    Parameters
    ----------
    seams : list of InventedSeam
    """

    seams: list[InventedSeam]

    @classmethod
    def invented(cls, seams: int) -> Load:
        """Invent `seams` seams."""
        return cls(list(base_seams(seams)))

    @cached_property
    def traces(self) -> list[SeamTrace]:
        """The seams, cut to length."""
        return [cut(seam.trace, SAMPLES) for seam in self.seams]

    @cached_property
    def described(self) -> DescribedBatch:
        """What the kernel finds in them."""
        return describe_batch(TraceBatch.of_traces(self.traces), self.limits)

    @property
    def indications_a_seam(self) -> float:
        """Counted by the kernel."""
        return len(self.described) / len(self.seams)

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

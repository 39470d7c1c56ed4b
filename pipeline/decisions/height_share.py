"""Height of each indication as a share of the limit of its seam."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, RecipeLimits
from seamtell.features.described_batch import DescribedBatch
from seamtell.features.descriptors import registry
from seamtell.features.trace_batch import TraceBatch

__all__ = ["height_shares"]


def height_shares(
    batch: TraceBatch, described: DescribedBatch, limits: Mapping[str, RecipeLimits]
) -> NDArray[np.float64]:
    """Height over the baseline as a share of the limit, on the channel where it is greater, shape (m,).

    Unlike the limit rule it leaves the baseline out, so that a rough seam does not make every
    indication on it look high.
    """
    names = registry.names()
    shares = np.zeros(len(described))
    for channel in CHANNELS:
        height = described.descriptors[:, names.index(f"{channel}_height_pct")]
        limit = np.array([_limit(limits.get(recipe), channel) for recipe in batch.recipes])
        shares = np.fmax(shares, height / limit[batch.recipe[described.seam]])
    return shares


def _limit(own: RecipeLimits | None, channel: str) -> float:
    return np.inf if own is None else float(own.limit_pct.get(channel, np.inf))

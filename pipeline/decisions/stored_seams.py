"""Decisions on some seams of a store, in memory: for figures, not for files."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.describe import TRACES_AT_ONCE, batches
from seamtell.pipeline.store.seam_store import SeamStore

__all__ = ["decide_stored"]


def decide_stored(decider: Decider, store: SeamStore, seam_ids: Collection[str]) -> Iterator[DecidedBatch]:
    """Decide on seams as production would, in the order of the store.

    Raises
    ------
    BadInput
        The store does not hold a seam.
    """
    for batch in batches(store.iter_traces(seam_ids), TRACES_AT_ONCE):
        yield decider.decide([trace.seam_id for trace in batch], TraceBatch.of_traces(batch))

"""Indications and descriptors of a batch of seams."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np

from seamtell.features.contracts import RecipeLimits
from seamtell.features.described_batch import DescribedBatch
from seamtell.features.descriptors.registry import ALL
from seamtell.features.indications import IndicationSettings
from seamtell.features.kernel.batch_kernel import Found, Limits, Networks, PerSeam, Seams, run_batch
from seamtell.features.kernel.networks import LARGEST, median_network
from seamtell.features.kernel.scratch import scratch_for
from seamtell.features.smoothing import DESPIKE_BEAMS, SMOOTH_BEAMS
from seamtell.features.trace_batch import LimitTable, TraceBatch

__all__ = ["compile_kernel", "describe_batch"]

_ROOM_PER_SEAM = 2
_SAMPLES_PER_ROOM = 256
"""Of indications there is room at first for so many a seam, and one for so many samples of all channels.
A seam that finds no room left is described again; room that is not used takes no memory."""


def describe_batch(
    batch: TraceBatch, limits: Mapping[str, RecipeLimits], settings: IndicationSettings | None = None
) -> DescribedBatch:
    """Describe every seam of a batch; one that cannot be described gets a status and no indications.

    Holds no lock while it works, so several batches can be described in threads.

    Parameters
    ----------
    batch : TraceBatch
    limits : mapping of str to RecipeLimits
        By recipe.
    settings : IndicationSettings, optional
    """
    settings = settings or IndicationSettings()
    table = LimitTable.of(limits, batch.recipes, batch.channels)
    n, channels = len(batch), len(batch.channels)
    values = [np.ascontiguousarray(array, dtype=np.float32) for array in batch.values]
    # The kernel reads by address: what lies beyond a buffer is not there for it.
    inside = batch.whole | (batch.counts == 0)
    # Copies, so that one machine code serves arrays of any layout, writable or not.
    seams = Seams(
        np.array([array.ctypes.data for array in values], np.int64),
        np.array(np.where(inside, batch.starts, -1), np.int64, order="C"),
        np.array(np.where(inside, batch.counts, 0), np.int64, order="C"),
        np.array(batch.start_mm, np.float64, order="C"),
        np.array(batch.pitch_mm, np.float64, order="C"),
        np.array(batch.thickness_a_mm, np.float64, order="C"),
        np.array(batch.thickness_b_mm, np.float64, order="C"),
        np.array(batch.recipe, np.int32, order="C"),
    )
    known = Limits(
        table.known,
        table.limit_pct,
        table.dead_zone_start_mm,
        table.dead_zone_end_mm,
        table.beam_width_mm,
    )
    per_seam = PerSeam(
        np.zeros(n, np.int8),
        np.zeros(n, np.int32),
        np.full((n, channels), np.nan),
        np.full((n, channels), np.nan),
    )
    room = _ROOM_PER_SEAM * n + int(seams.counts.sum()) // _SAMPLES_PER_ROOM + 64
    found = _room(room, channels)
    begin, m = 0, 0
    scratch = scratch_for(channels, int(seams.counts.max(initial=1)), _pad(table, batch))
    while True:
        begin, m = run_batch(
            seams,
            known,
            _networks(),
            settings.enter_sigma,
            settings.leave_sigma,
            scratch,
            begin,
            m,
            per_seam,
            found,
        )
        if begin == n:
            return DescribedBatch(*per_seam, *(column[:m] for column in found))
        found = _grown(found, m, channels)


def compile_kernel() -> None:
    """Compile the kernel, or load what is kept of it, before anything needs it."""
    describe_batch(TraceBatch.of_traces([]), {})


def _room(rows: int, channels: int) -> Found:
    return Found(
        np.empty(rows, np.int32),
        np.empty(rows, np.int32),
        np.empty(rows),
        np.empty(rows),
        np.empty(rows),
        np.empty((rows, channels), np.bool_),
        np.empty((rows, channels), np.bool_),
        np.empty((rows, len(ALL))),
    )


def _grown(found: Found, m: int, channels: int) -> Found:
    """The same rows, with room for twice as many and at least those of one seam."""
    larger = _room(2 * len(found.seam) + 64, channels)
    for old, new in zip(found, larger, strict=True):
        new[:m] = old[:m]
    return larger


def _pad(table: LimitTable, batch: TraceBatch) -> int:
    """Most samples that a filter reads beyond the end of any seam of the batch."""
    known = table.known[batch.recipe]
    if not known.any():
        return 0
    beams = float((table.beam_width_mm[batch.recipe[known]] / batch.pitch_mm[known]).max())
    return int(np.ceil(max(DESPIKE_BEAMS, SMOOTH_BEAMS) * beams / 2.0)) + 2


@cache
def _networks() -> Networks:
    networks = [np.empty((0, 2), np.int32)] + [median_network(size) for size in range(1, LARGEST + 1)]
    offsets = np.concatenate(([0], np.cumsum([len(network) for network in networks])))
    return Networks(np.concatenate(networks).reshape(-1), offsets.astype(np.int64))

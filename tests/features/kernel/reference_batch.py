"""The readable implementation, seam by seam, with the contract of the compiled one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np

from seamtell.features.contracts import CHANNELS, Indication, RecipeLimits, SeamTrace
from seamtell.features.described_batch import DescribedBatch, SeamStatus
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors.registry import ALL
from seamtell.features.indications import IndicationSettings
from seamtell.features.trace_batch import LimitTable, TraceBatch

__all__ = ["reference_batch", "traces_of"]


def reference_batch(
    batch: TraceBatch, limits: Mapping[str, RecipeLimits], settings: IndicationSettings | None = None
) -> DescribedBatch:
    """Describe every seam of a batch with `analyse_seam` and `describe_seam`."""
    n, c_count = len(batch), len(batch.channels)
    status, dead = np.zeros(n, np.int8), np.zeros(n, np.int32)
    baseline, noise = np.full((n, c_count), np.nan), np.full((n, c_count), np.nan)
    rows, blocks = [], [np.empty((0, len(ALL)))]
    LimitTable.of(limits, batch.recipes, batch.channels)
    for i, trace in enumerate(traces_of(batch)):
        status[i] = _status(trace, limits)
        if status[i] != SeamStatus.DESCRIBED:
            continue
        analysis = analyse_seam(trace, limits[trace.recipe], settings)
        dead[i] = analysis.dead_zone_indications
        for name in analysis.noise_pct:
            noise[i, batch.channels.index(name)] = analysis.noise_pct[name]
            baseline[i, batch.channels.index(name)] = analysis.level_pct[name]
        blocks.append(describe_seam(analysis))
        rows += [_row(i, one, batch.channels) for one in analysis.indications]
    columns = list(zip(*rows, strict=True)) if rows else [()] * 7
    return DescribedBatch(
        status,
        dead,
        baseline,
        noise,
        np.array(columns[0], np.int32),
        np.array(columns[1], np.int32),
        np.array(columns[2], float),
        np.array(columns[3], float),
        np.array(columns[4], float),
        np.array(columns[5], bool).reshape(len(rows), c_count),
        np.array(columns[6], bool).reshape(len(rows), c_count),
        np.vstack(blocks),
    )


def traces_of(batch: TraceBatch) -> list[SeamTrace]:
    """The seams of a batch one by one."""
    return [
        SeamTrace(
            "",
            datetime(2000, 1, 1, tzinfo=UTC),
            "",
            batch.recipes[batch.recipe[i]],
            float(batch.start_mm[i]),
            float(batch.pitch_mm[i]),
            {
                name: batch.values[c][batch.starts[i, c] : batch.starts[i, c] + batch.counts[i, c]]
                for c, name in enumerate(batch.channels)
                if batch.starts[i, c] >= 0
            },
            thickness_a_mm=float(batch.thickness_a_mm[i]),
            thickness_b_mm=float(batch.thickness_b_mm[i]),
        )
        for i in range(len(batch))
    ]


def _status(trace: SeamTrace, limits: Mapping[str, RecipeLimits]) -> SeamStatus:
    amplitudes = trace.amplitudes_pct
    if limits.get(trace.recipe) is None:
        return SeamStatus.NO_LIMITS
    lengths = {len(a) for a in amplitudes.values()}
    if not set(CHANNELS) <= set(amplitudes) or len(lengths) != 1 or 0 in lengths:
        return SeamStatus.MISSING_CHANNEL
    if not all(np.isfinite(a).all() for a in amplitudes.values()):
        return SeamStatus.NOT_FINITE
    return SeamStatus.DESCRIBED


def _row(i: int, one: Indication, channels: tuple[str, ...]) -> tuple[object, ...]:
    return (
        i,
        one.indication,
        one.start_mm,
        one.end_mm,
        one.peak_mm,
        [name in one.channels for name in channels],
        [name in one.exceeded_channels for name in channels],
    )

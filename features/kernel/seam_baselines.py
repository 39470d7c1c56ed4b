"""Baselines of two seams: begun for each by itself, fitted together, and finished for each.

A fit waits for one division after the other. Two seams' chains of these run side by side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import _TOLERANCE_SIGMA, WINDOW_MM
from seamtell.features.kernel.baseline_fit import fit_baselines
from seamtell.features.kernel.baseline_kernel import block_sigma, interpolate
from seamtell.features.kernel.block_medians import block_medians, lay_out_blocks
from seamtell.features.kernel.compiling import compiled, inlined, larger
from seamtell.features.kernel.folding import ENDS, fold, unfold
from seamtell.features.kernel.low_quantile import low_quantile
from seamtell.features.kernel.order_statistics import median_of_odd
from seamtell.features.kernel.scratch import CHANNELS, COUNT, HERE, HIGHEST, LEVEL, SIZE, Scratch

__all__ = ["begin_baselines", "finish_baselines", "fit_together"]

Array = NDArray[np.float64]

_FITTED = 3
"""At least so many blocks are fitted; the one block of a shorter seam is its baseline."""


@inlined
def begin_baselines(
    s: Scratch,
    slot: int,
    channels: int,
    n: int,
    pitch_mm: float,
    networks: NDArray[np.int32],
    offsets: NDArray[np.int64],
) -> None:
    """Lay out blocks and what the fit begins with."""
    blocks = s.blocks[slot]
    size, count = lay_out_blocks(n, pitch_mm, blocks)
    s.waiting[slot, HERE], s.waiting[slot, SIZE], s.waiting[slot, COUNT] = channels, size, count
    spacing_mm = (blocks[count - 1] - blocks[0]) / (count - 1) * pitch_mm if count > 1 else 0.0
    for c in range(channels):
        raw = s.padded[slot, c, s.pad :]
        block_medians(raw, blocks, size, count, networks, offsets, s.tile, s.medians)
        if count < _FITTED:
            s.curves[slot, c, 0] = s.medians[0]
            continue
        sigma = block_sigma(raw, n, size, s.medians, count, s.work[0], s.keys, s.order[0], s.work[1])
        width = max(1, int(np.rint(WINDOW_MM / spacing_mm)))
        low_quantile(s.medians, count, width, s.low, s.order[0], s.order[1], s.work[0])
        pair, place = c // CHANNELS, CHANNELS * slot + c % CHANNELS
        fold(s.medians, count, place, s.values[pair])
        fold(s.low, count, place, s.start[pair])
        for lane in range(ENDS * place, ENDS * (place + 1)):
            s.least[pair, lane] = _TOLERANCE_SIGMA * sigma


@inlined
def fit_together(s: Scratch) -> None:
    """Fit the baselines of both seams, at once where they have as many blocks."""
    channels, counts = s.waiting[:, HERE], s.waiting[:, COUNT]
    if counts[0] == counts[1]:
        _fit(s, counts[0], channels[0], channels[1])
    else:
        _fit(s, counts[0], channels[0], 0)
        _fit(s, counts[1], 0, channels[1])


@inlined
def _fit(s: Scratch, count: int, channels: int, others: int) -> None:
    if count < _FITTED:
        return
    for pair in range((max(channels, others) + CHANNELS - 1) // CHANNELS):
        first = CHANNELS * pair
        here = min(max(channels - first, 0), CHANNELS)
        there = min(max(others - first, 0), CHANNELS)
        fit_baselines(
            s.values[pair],
            s.start[pair],
            s.least[pair],
            _lanes(0, here) | _lanes(1, there),
            count,
            s.folded,
            s.factors,
            s.sets,
        )
        for c in range(here):
            unfold(s.folded, count, c, s.curves[0, first + c])
        for c in range(there):
            unfold(s.folded, count, CHANNELS + c, s.curves[1, first + c])


@compiled
def _lanes(slot: int, channels: int) -> int:
    """Lanes of so many channels of a seam."""
    return ((1 << ENDS * channels) - 1) << (ENDS * CHANNELS * slot)


@inlined
def finish_baselines(s: Scratch, slot: int, n: int) -> None:
    """Baselines on the grid of the samples, and their medians."""
    size, count = s.waiting[slot, SIZE], s.waiting[slot, COUNT]
    for c in range(s.waiting[slot, HERE]):
        curve, facts = s.curves[slot, c], s.per_channel[slot]
        if count < _FITTED:
            s.baseline[c, :n] = curve[0]
            s.rounded[c, :n] = curve[0]
            facts[LEVEL, c], facts[HIGHEST, c] = curve[0], np.abs(curve[0])
            continue
        interpolate(curve, s.blocks[slot], size, count, n, s.baseline[c], s.rounded[c])
        facts[HIGHEST, c] = _largest_size(curve, count)
        facts[LEVEL, c] = median_of_odd(curve, count, s.keys, s.order[0], s.work[0])


@compiled
def _largest_size(values: Array, n: int) -> float:
    largest = 0.0
    for i in range(n):
        largest = larger(largest, np.abs(values[i]))
    return largest

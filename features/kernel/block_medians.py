"""Blocks of a seam and their medians."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import BLOCK_MM
from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.lanes import EIGHT, LANES
from seamtell.features.kernel.networks import LARGEST
from seamtell.features.kernel.order_statistics import smallest_of_part
from seamtell.features.kernel.vectors import LARGEST_IN_REGISTERS, compare_exchange, medians_of_eight

__all__ = ["block_medians", "lay_out_blocks"]


@compiled
def lay_out_blocks(n: int, pitch_mm: float, starts: NDArray[np.int64]) -> tuple[int, int]:
    """Size and odd number of blocks; their first samples are written to `starts`."""
    size = int(min(max(np.rint(BLOCK_MM / pitch_mm), 1.0), float(n)))
    size -= (n - size) % 2
    if size < 1:
        size = min(2, n)
    count = -(-n // size)
    count += 1 - count % 2
    half, span = count // 2, n - size
    for k in range(half):
        start = k * span // (count - 1)
        starts[k] = start
        starts[count - 1 - k] = span - start
    starts[half] = span // 2
    return size, count


@compiled
def block_medians(
    amplitudes: NDArray[np.float32],
    starts: NDArray[np.int64],
    size: int,
    count: int,
    networks: NDArray[np.int32],
    offsets: NDArray[np.int64],
    tile: NDArray[np.float32],
    medians: NDArray[np.float64],
) -> None:
    """Median of every block, equal to ``numpy.median`` bit by bit.

    `networks` holds the comparators of every size, size s from ``offsets[s]`` on. Blocks
    are sorted side by side, `LANES` at a time, in `tile`, which has room for the longest block.
    """
    if size <= LARGEST_IN_REGISTERS:
        for k in range(count, count + EIGHT):
            starts[k] = starts[count - 1]
        for k in range(0, count, EIGHT):
            medians_of_eight(amplitudes, starts, k, size, medians)
        return
    low, high = (size - 1) // 2, size // 2
    if size > LARGEST:
        for k in range(count):
            for i in range(size):
                tile[i] = amplitudes[starts[k] + i]
            a = smallest_of_part(tile, 0, size - 1, low)
            b = smallest_of_part(tile, low, size - 1, high) if high > low else a
            medians[k] = (np.float64(a) + np.float64(b)) / 2.0
        return
    for first in range(0, count, LANES):
        for lane in range(LANES):
            start = starts[min(first + lane, count - 1)]
            _spread(amplitudes[start : start + size], size, tile[lane:])
        for c in range(offsets[size], offsets[size + 1]):
            compare_exchange(tile, LANES * networks[2 * c], LANES * networks[2 * c + 1])
        for lane in range(min(LANES, count - first)):
            a, b = tile[low * LANES + lane], tile[high * LANES + lane]
            medians[first + lane] = (np.float64(a) + np.float64(b)) / 2.0


@compiled
def _spread(block: NDArray[np.float32], size: int, lane: NDArray[np.float32]) -> None:
    """Copy one block to one lane of the tile."""
    for i in range(size):
        lane[i * LANES] = block[i]

"""Running median of one channel, exact, on float32 samples; ``features.smoothing`` is the specification."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.lanes import EIGHT, LANES
from seamtell.features.kernel.networks import LARGEST
from seamtell.features.kernel.vectors import (
    LARGEST_IN_REGISTERS,
    compare_exchange,
    medians_of_pairs,
    split_pairs,
)

__all__ = ["running_median"]

Samples = NDArray[np.float32]


@compiled
def running_median(
    padded: Samples,
    n: int,
    size: int,
    networks: NDArray[np.int32],
    offsets: NDArray[np.int64],
    tile: Samples,
    out: Samples,
) -> None:
    """Median of ``padded[i : i + size]`` for every i < n, written to `out`.

    Parameters
    ----------
    padded : float32 array of shape (>= n + size - 1 + LANES,)
        Samples with ``size // 2`` further ones on either side.
    n, size : int
        `size` is odd.
    networks, offsets
        Comparators of every size up to `LARGEST`.
    tile : float32 array of shape (>= LANES * LARGEST,), (>= size,) and (>= n + size + 4 * LANES,)
        Scratch.
    out : float32 array of shape (>= n + LANES,)
    """
    if size == 1:
        for i in range(n):
            out[i] = padded[i]
    elif size <= LARGEST_IN_REGISTERS:
        even, odd = tile[: len(tile) // 2], tile[len(tile) // 2 :]
        split_pairs(padded, n + size, even, odd)
        for i in range(0, (n + 1) // 2, EIGHT):
            medians_of_pairs(even, odd, i, size, out)
    elif size <= LARGEST:
        _by_network(padded, n, size, networks[2 * offsets[size] : 2 * offsets[size + 1]], tile, out)
    else:
        _by_sorted_window(padded, n, size, tile, out)


@compiled
def _by_network(
    padded: Samples, n: int, size: int, network: NDArray[np.int32], tile: Samples, out: Samples
) -> None:
    """`LANES` neighbouring windows side by side."""
    for first in range(0, n, LANES):
        for k in range(size):
            _copy(padded[first + k :], tile[k * LANES :], LANES)
        for c in range(len(network) // 2):
            compare_exchange(tile, LANES * network[2 * c], LANES * network[2 * c + 1])
        _copy(tile[size // 2 * LANES :], out[first:], LANES)


@compiled
def _copy(source: Samples, target: Samples, n: int) -> None:
    for i in range(n):
        target[i] = source[i]


@compiled
def _by_sorted_window(padded: Samples, n: int, size: int, window: Samples, out: Samples) -> None:
    """A sorted window from which one sample is taken, and into which one is put, at every step."""
    window[0] = padded[0]
    for k in range(1, size):
        _put(window, k, padded[k])
    out[0] = window[size // 2]
    for i in range(1, n):
        gone, new = padded[i - 1], padded[i + size - 1]
        if new > gone:
            k = _find(window, size, gone)
            while k + 1 < size and window[k + 1] < new:
                window[k] = window[k + 1]
                k += 1
            window[k] = new
        elif new < gone:
            k = _find(window, size, gone)
            while k > 0 and window[k - 1] > new:
                window[k] = window[k - 1]
                k -= 1
            window[k] = new
        out[i] = window[size // 2]


@compiled
def _put(window: Samples, k: int, value: np.float32) -> None:
    """Put a further value into the k sorted ones."""
    while k > 0 and window[k - 1] > value:
        window[k] = window[k - 1]
        k -= 1
    window[k] = value


@compiled
def _find(window: Samples, size: int, value: np.float32) -> int:
    """First place of a value in the sorted window, by bisection."""
    low, high = 0, size
    while low < high:
        middle = (low + high) // 2
        if window[middle] < value:
            low = middle + 1
        else:
            high = middle
    return low

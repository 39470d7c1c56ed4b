"""Moving average with parts of samples at its ends; ``features.smoothing`` is the specification."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.average_vectors import MOST_TAPS, short_averages_over
from seamtell.features.kernel.compiling import compiled, reordering, smaller
from seamtell.features.rounding import ROUNDED_AT

__all__ = ["average_taps", "averages_over", "over_baseline", "reflect_ends"]

Samples = NDArray[np.float32]
Array = NDArray[np.float64]


@compiled
def average_taps(samples: float) -> int:
    """Samples on either side of the middle one that an average over so many samples reads."""
    return 0 if samples <= 1.0 else math.ceil((samples - 1.0) / 2.0)


@compiled
def reflect_ends(padded: Samples, n: int, half: int) -> None:
    """Reflect the n values from `half` on to either side, as often as needed."""
    values = padded[half:]
    if half <= n:
        left, right = padded[:half], padded[half + n :]
        for i in range(half):
            left[half - 1 - i] = values[i]
            right[i] = values[n - 1 - i]
        return
    for i in range(half):
        at = i % (2 * n)
        padded[half - 1 - i] = values[at if at < n else 2 * n - 1 - at]
        padded[half + n + i] = values[n - 1 - at if at < n else at - n]


@compiled
def averages_over(
    padded: Samples,
    baseline: Array,
    n: int,
    samples: float,
    half: int,
    grid: float,
    over: Array,
    keys: Samples,
    scratch: Array,
    sums: Array,
) -> float:
    """By how much the average over `samples` around ``padded[half + i]`` is over the baseline, for i < n.

    Like `over_baseline` otherwise. Writes up to 7 samples further, and reads up to 32. Short averages
    are added up directly. For long ones sums over 2, 4, 8, … samples are built from each other, so
    that the work grows with the logarithm of the length and no rounding piles up.
    """
    edge, whole = (samples - (2 * half - 1)) / 2.0 / samples, 1.0 / samples
    inner = 2 * half - 1
    if half == 0:
        return over_baseline(padded, baseline, n, grid, over, keys)
    if inner <= MOST_TAPS:
        return short_averages_over(padded, n, inner, edge, whole, baseline, grid, over, keys)
    _long(padded, n, inner, edge, whole, scratch, sums)
    return over_baseline(scratch, baseline, n, grid, over, keys)


@reordering
def over_baseline(
    signal: Array | Samples, baseline: Array, n: int, grid: float, over: Array, keys: Samples
) -> float:
    """Signal over the baseline on the grid, and rounded to float32; about the sum of what is below."""
    total, zero, per_grid = np.float32(0.0), np.float32(0.0), 1.0 / grid
    for i in range(n):
        value = np.rint((np.float64(signal[i]) - baseline[i]) * per_grid + ROUNDED_AT) * grid
        over[i] = value
        narrow = np.float32(value)
        keys[i] = narrow
        total += smaller(narrow, zero)
    return np.float64(total)


@compiled
def _long(padded: Samples, n: int, inner: int, edge: float, whole: float, out: Array, sums: Array) -> None:
    """Sum over `inner` samples as sums over powers of two, in the two rows of `sums` by turns."""
    room = n + inner
    now, then = sums[0], sums[1]
    for i in range(room):
        now[i] = padded[1 + i]
    _scale_ends(padded, padded[inner + 1 :], n, edge, out)
    done, power = 0, 1
    while True:
        if inner & power:
            _add(now[done:], n, whole, out)
            done += power
        if done == inner:
            return
        room -= power
        _double(now, now[power:], room, then)
        now, then = then, now
        power *= 2


@compiled
def _scale_ends(a: Samples, b: Samples, n: int, edge: float, out: Array) -> None:
    for i in range(n):
        out[i] = edge * (np.float64(a[i]) + np.float64(b[i]))


@compiled
def _add(sums: Array, n: int, whole: float, out: Array) -> None:
    for i in range(n):
        out[i] += whole * sums[i]


@compiled
def _double(sums: Array, further: Array, n: int, out: Array) -> None:
    for i in range(n):
        out[i] = sums[i] + further[i]

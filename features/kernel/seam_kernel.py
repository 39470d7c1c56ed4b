"""One seam from amplitudes and baselines to segments of every channel, all in working memory.

Lengths of despiking and smoothing follow ``features.smoothing``, the order of steps
``features.channel``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled, inlined, reordering, smaller
from seamtell.features.kernel.lanes import LANES
from seamtell.features.kernel.moving_average import average_taps, averages_over, over_baseline, reflect_ends
from seamtell.features.kernel.order_statistics import (
    MEDIAN_OVER_MEAN,
    bracket,
    density_at_median,
    fill_up,
    median_of_smallest,
    pair_of_few,
    places_between,
    whole_lanes,
)
from seamtell.features.kernel.rank_vectors import count_keys, count_keys_twice
from seamtell.features.kernel.running_median import running_median
from seamtell.features.kernel.scratch import GRID, HIGHEST, LEVEL, LIMIT, NOISE, QUIET_NOISE, Scratch
from seamtell.features.kernel.segment_kernel import find_segments, largest_within, mark_samples
from seamtell.features.noise import _MAD_TO_SIGMA, FLOOR_SHARE, SMALLEST_PCT
from seamtell.features.rounding import GRID_BITS, ROUNDED_AT
from seamtell.features.smoothing import DESPIKE_BEAMS

__all__ = [
    "despike_size",
    "find_excursions",
    "grid_below",
    "prepare_segments",
    "segment_channels",
]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
Indices = NDArray[np.int64]

_FLOAT32 = 2.0**-23
"""Rounding to float32 and the difference of two such numbers are off by less than this share of both."""


@compiled
def despike_size(pitch_mm: float, beam_mm: float) -> int:
    """Samples of the running median."""
    size = max(1, 2 * int(np.rint((DESPIKE_BEAMS * beam_mm / pitch_mm - 1.0) / 2.0)) + 1)
    return max(size, 3) if pitch_mm <= beam_mm / 4.0 else size


@inlined
def find_excursions(
    s: Scratch,
    slot: int,
    channels: int,
    n: int,
    pitch_mm: float,
    beam_mm: float,
    networks: NDArray[np.int32],
    offsets: NDArray[np.int64],
) -> None:
    """Despiked and smoothed amplitude over the baseline of every channel, and both noises."""
    size = despike_size(pitch_mm, beam_mm)
    samples = DESPIKE_BEAMS * beam_mm / pitch_mm
    half = average_taps(samples) if n > 1 else 0
    padded, facts = s.padded[slot], s.per_channel[slot]
    floor = FLOOR_SHARE * np.abs(facts[LEVEL, 0])
    for c in range(channels):
        raw, baseline, grid = padded[c, s.pad :], s.baseline[c], facts[GRID, c]
        running_median(padded[c, s.pad - size // 2 :], n, size, networks, offsets, s.tile, s.quiet[half:])
        reflect_ends(s.quiet, n, half)
        total = averages_over(
            s.quiet, baseline, n, samples, half, grid, s.excursion[c], s.keys, s.work[0], s.sums
        )
        sigma = _sigma(s.excursion[c], n, total, s.keys, s.order[0], s.work[1])
        facts[QUIET_NOISE, c] = max(max(sigma, floor), SMALLEST_PCT)
        sigma = _single_sigma(
            raw,
            baseline,
            s.rounded[c],
            n,
            grid,
            facts[HIGHEST, c],
            s.keys,
            s.order[0],
            s.work[0],
            s.work[1],
        )
        facts[NOISE, c] = max(max(sigma, floor), SMALLEST_PCT)


@compiled
def grid_below(greatest: float) -> float:
    """Spacing of the grid that differences are rounded to, see ``features.rounding``."""
    _, exponent = math.frexp(greatest)
    return math.ldexp(1.0, exponent - 1 - GRID_BITS)


@compiled
def _sigma(over: Array, n: int, total: float, keys: Samples, places: Indices, scratch: Array) -> float:
    """Robust standard deviation of what is not above the baseline, from what `over_baseline` gives."""
    fill_up(keys, n, 4 * LANES)
    below = count_keys(keys, whole_lanes(n), np.float32(0.0))
    if below == 0:
        return 0.0
    guess = MEDIAN_OVER_MEAN * total / below
    return -_MAD_TO_SIGMA * median_of_smallest(over, keys, n, below, guess, places, scratch)


@compiled
def _single_sigma(
    raw: Samples,
    baseline: Array,
    rounded: Samples,
    n: int,
    grid: float,
    highest: float,
    keys: Samples,
    places: Indices,
    over: Array,
    scratch: Array,
) -> float:
    """`_sigma` of single samples, whose exact differences are worked out only where they decide.

    Keys are differences in float32, off by less than `slack`. What lies between two thresholds is
    gathered by them; where the answer is farther from both than the slack, nothing else can be it.
    """
    slack = grid + _FLOAT32 * (grid * 2.0 ** (GRID_BITS + 1) + highest)
    total = _roughly_over(raw, rounded, n, keys)
    fill_up(keys, n, 4 * LANES)
    below, not_above = count_keys_twice(keys, whole_lanes(n), np.float32(-slack), np.float32(slack))
    unsure = not_above - below
    if unsure > 0:
        m = places_between(keys, n, np.float32(-slack), np.float32(slack), unsure, places)
        _differences(raw, baseline, places, m, grid, scratch)
        for k in range(m):
            below += 1 if scratch[k] <= 0.0 else 0
    if below == 0:
        return 0.0
    rank, guess = (below - 1) // 2, MEDIAN_OVER_MEAN * total / below
    low, n_low, high, n_high = bracket(keys, n, rank, guess, density_at_median(below, guess))
    m = places_between(keys, n, low, high, n_high - n_low, places)
    _differences(raw, baseline, places, m, grid, scratch)
    value, after = pair_of_few(scratch, m, rank - n_low)
    if not (value > low + slack and after < high - slack):
        total = over_baseline(raw, baseline, n, grid, over, keys)
        return _sigma(over, n, total, keys, places, scratch)
    return -_MAD_TO_SIGMA * (value if below % 2 == 1 else (value + after) / 2.0)


@compiled
def _differences(raw: Samples, baseline: Array, places: Indices, m: int, grid: float, out: Array) -> None:
    """Signal over the baseline at some places."""
    for k in range(m):
        i = places[k]
        out[k] = np.rint((np.float64(raw[i]) - baseline[i]) / grid + ROUNDED_AT) * grid


@reordering
def _roughly_over(raw: Samples, rounded: Samples, n: int, keys: Samples) -> float:
    """Samples over the baseline in float32; about the sum of what is below."""
    total, zero = np.float32(0.0), np.float32(0.0)
    for i in range(n):
        key = raw[i] - rounded[i]
        keys[i] = key
        total += smaller(key, zero)
    return np.float64(total)


@inlined
def segment_channels(
    s: Scratch,
    slot: int,
    channels: int,
    n: int,
    enter_sigma: float,
    beam_samples: float,
    judged_first: int,
    judged_last: int,
    inside: bool,
) -> None:
    """Segments of all channels among the judged samples, or among all others."""
    total = 0
    for c in range(channels):
        s.offsets[c] = total
        total += find_segments(
            s.excursion[c],
            n,
            s.per_channel[slot, QUIET_NOISE, c],
            enter_sigma,
            beam_samples,
            judged_first,
            judged_last,
            inside,
            s.standing[c],
            s.rising[c],
            s.over[c],
            s.kept,
            s.rest,
            s.near,
            s.segments[0, total:],
            s.segments[1, total:],
        )
    s.offsets[channels] = total


@inlined
def prepare_segments(
    s: Scratch, slot: int, channels: int, n: int, enter_sigma: float, leave_sigma: float
) -> None:
    """What both searches for segments read."""
    facts = s.per_channel[slot]
    for c in range(channels):
        sigma = facts[QUIET_NOISE, c]
        leave, enter = largest_within(leave_sigma, sigma), largest_within(enter_sigma, sigma)
        raw, limit = s.padded[slot, c, s.pad :], facts[LIMIT, c]
        mark_samples(s.excursion[c], raw, n, leave, enter, limit, s.standing[c], s.rising[c], s.over[c])

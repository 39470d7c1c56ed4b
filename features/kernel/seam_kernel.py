"""One seam from float32 amplitudes to segments of every channel, all in working memory.

Lengths of despiking and smoothing follow ``features.smoothing``, the order of steps
``features.channel``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.baseline_kernel import block_sigma, fit_two, interpolate, prepare_fit
from seamtell.features.kernel.block_medians import block_medians, lay_out_blocks
from seamtell.features.kernel.compiling import compiled, reordering, smaller
from seamtell.features.kernel.moving_average import average_taps, moving_average, reflect
from seamtell.features.kernel.order_statistics import fill_up, median_of_smallest, rank_pair, round_to_keys
from seamtell.features.kernel.rank_vectors import count_keys
from seamtell.features.kernel.running_median import running_median
from seamtell.features.kernel.scratch import Scratch
from seamtell.features.kernel.segment_kernel import find_segments, largest_within, mark_samples
from seamtell.features.kernel.vectors import LANES
from seamtell.features.noise import _MAD_TO_SIGMA, FLOOR_SHARE, SMALLEST_PCT
from seamtell.features.rounding import GRID_BITS, ROUNDED_AT
from seamtell.features.smoothing import DESPIKE_BEAMS

__all__ = [
    "despike_size",
    "find_baselines",
    "find_excursions",
    "grid_below",
    "prepare_segments",
    "segment_channels",
]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

LEVEL, NOISE, QUIET_NOISE, LIMIT, GRID = range(5)
"""Rows of ``Scratch.per_channel``: median of the baseline, noise of single and of despiked samples, limit,
spacing of the grid that differences are rounded to."""


@compiled
def despike_size(pitch_mm: float, beam_mm: float) -> int:
    """Samples of the running median."""
    size = max(1, 2 * int(np.rint((DESPIKE_BEAMS * beam_mm / pitch_mm - 1.0) / 2.0)) + 1)
    return max(size, 3) if pitch_mm <= beam_mm / 4.0 else size


@compiled
def find_baselines(
    s: Scratch,
    channels: int,
    n: int,
    pitch_mm: float,
    networks: NDArray[np.int32],
    offsets: NDArray[np.int64],
) -> None:
    """Baselines of the channels in ``s.padded``, and their medians."""
    size, count = lay_out_blocks(n, pitch_mm, s.blocks)
    spacing_mm = (s.blocks[count - 1] - s.blocks[0]) / (count - 1) * pitch_mm if count > 1 else 0.0
    for c in range(channels):
        raw, medians = s.padded[c, s.pad :], s.medians[c]
        block_medians(raw, s.blocks, size, count, networks, offsets, s.tile, medians)
        if count < 3:
            s.baseline[c, :n] = medians[0]
            continue
        sigma = block_sigma(raw, n, size, medians, count, s.work[0], s.keys, s.work[1])
        prepare_fit(
            medians, count, spacing_mm, sigma, s.start[c], s.tolerance[c], s.taken[c], s.order[0], s.order[1]
        )
    if count >= 3:
        for c in range(0, channels, 2):
            other = min(c + 1, channels - 1)
            fit_two(
                s.medians[c],
                s.medians[other],
                s.tolerance[c],
                s.tolerance[other],
                s.taken[c],
                s.taken[other],
                s.curve[c],
                s.curve[other],
                count,
                other > c,
                s.now,
                s.curve[channels],
                s.factors,
            )
        for c in range(channels):
            interpolate(s.curve[c], s.blocks, size, count, n, s.baseline[c])
    for c in range(channels):
        s.per_channel[LEVEL, c] = _level(s.baseline[c], s.curve[c], count, n, s.keys, s.work[0])


@compiled
def _level(baseline: Array, curve: Array, count: int, n: int, keys: Samples, scratch: Array) -> float:
    """Median of a baseline; that of the curve's points is near it."""
    if count < 3:
        return baseline[0]
    guess, width = _middle(curve, count)
    density = 0.5 * n / max(width, 1e-12 * np.abs(guess) + 1e-300)
    round_to_keys(baseline, n, keys)
    low, high = rank_pair(baseline, keys, n, (n - 1) // 2, guess, density, scratch)
    return low if n % 2 == 1 else (low + high) / 2.0


@reordering
def _middle(curve: Array, count: int) -> tuple[float, float]:
    """About where the middle ranks are, and over how much the values are spread."""
    total, spread = 0.0, 0.0
    for i in range(count):
        total += curve[i]
    mean = total / count
    for i in range(count):
        spread += np.abs(curve[i] - mean)
    return mean, 2.0 * spread / count


@compiled
def find_excursions(
    s: Scratch,
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
    floor = FLOOR_SHARE * np.abs(s.per_channel[LEVEL, 0])
    for c in range(channels):
        padded, excursion, baseline = s.padded[c], s.excursion[c], s.baseline[c]
        running_median(padded[s.pad - size // 2 :], n, size, networks, offsets, s.tile, s.quiet)
        reflect(s.quiet, n, half, s.despiked)
        moving_average(s.despiked, n, samples, half, s.work[0], s.sums)
        grid = s.per_channel[GRID, c]
        s.per_channel[QUIET_NOISE, c] = _noise(
            s.work[0], baseline, n, grid, floor, excursion, s.keys, s.work[1]
        )
        s.per_channel[NOISE, c] = _noise(
            padded[s.pad :], baseline, n, grid, floor, s.work[0], s.keys, s.work[1]
        )


@compiled
def grid_below(greatest: float) -> float:
    """Spacing of the grid that differences are rounded to, see ``features.rounding``."""
    _, exponent = math.frexp(greatest)
    return math.ldexp(1.0, exponent - 1 - GRID_BITS)


@compiled
def _noise(
    signal: Array | Samples,
    baseline: Array,
    n: int,
    grid: float,
    floor: float,
    over: Array,
    keys: Samples,
    scratch: Array,
) -> float:
    """Robust standard deviation of what is not above the baseline; `over` is what is over it."""
    total = _over_baseline(signal, baseline, n, grid, 1.0 / grid, over, keys)
    fill_up(keys, n, 4 * LANES)
    whole = (n + 4 * LANES - 1) // (4 * LANES) * (4 * LANES)
    below, sigma = count_keys(keys, whole, np.float32(0.0)), 0.0
    if below > 0:
        sigma = -_MAD_TO_SIGMA * median_of_smallest(over, keys, n, below, 0.845 * total / below, scratch)
    return max(max(sigma, floor), SMALLEST_PCT)


@reordering
def _over_baseline(
    signal: Array | Samples,
    baseline: Array,
    n: int,
    grid: float,
    per_grid: float,
    over: Array,
    keys: Samples,
) -> float:
    """Signal over the baseline, and rounded to float32; about the sum of what is below."""
    total, zero = np.float32(0.0), np.float32(0.0)
    for i in range(n):
        value = np.rint((np.float64(signal[i]) - baseline[i]) * per_grid + ROUNDED_AT) * grid
        over[i] = value
        narrow = np.float32(value)
        keys[i] = narrow
        total += smaller(narrow, zero)
    return np.float64(total)


@compiled
def segment_channels(
    s: Scratch,
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
            s.per_channel[QUIET_NOISE, c],
            enter_sigma,
            beam_samples,
            judged_first,
            judged_last,
            inside,
            s.standing[c],
            s.rising[c],
            s.over[c],
            s.kept,
            s.near,
            s.segments[0, total:],
            s.segments[1, total:],
        )
    s.offsets[channels] = total


@compiled
def prepare_segments(s: Scratch, channels: int, n: int, enter_sigma: float, leave_sigma: float) -> None:
    """What both searches for segments read."""
    for c in range(channels):
        sigma = s.per_channel[QUIET_NOISE, c]
        leave, enter = largest_within(leave_sigma, sigma), largest_within(enter_sigma, sigma)
        raw, limit = s.padded[c, s.pad :], s.per_channel[LIMIT, c]
        mark_samples(s.excursion[c], raw, n, leave, enter, limit, s.standing[c], s.rising[c], s.over[c])

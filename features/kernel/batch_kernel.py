"""The compiled loop over the seams of a batch: the one function that Python calls."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seamtell.features.described_batch import SeamStatus
from seamtell.features.kernel.bits import next_set
from seamtell.features.kernel.compiling import compiled, entry, inlined
from seamtell.features.kernel.descriptor_kernel import describe_indication
from seamtell.features.kernel.grouping import join_segments
from seamtell.features.kernel.moving_average import average_taps, averages_over, reflect_ends
from seamtell.features.kernel.scratch import GRID, HERE, LEVEL, LIMIT, NOISE, QUIET_NOISE, SEAMS, Scratch
from seamtell.features.kernel.seam_baselines import begin_baselines, finish_baselines, fit_together
from seamtell.features.kernel.seam_kernel import (
    find_excursions,
    grid_below,
    prepare_segments,
    segment_channels,
)
from seamtell.features.kernel.segment_kernel import first_highest
from seamtell.features.kernel.vectors import copy_from, fetch_ahead
from seamtell.features.rounding import SLACK
from seamtell.features.smoothing import SMOOTH_BEAMS

__all__ = ["Found", "Limits", "Networks", "PerSeam", "Seams", "run_batch"]

_DESCRIBED, _NO_LIMITS = int(SeamStatus.DESCRIBED), int(SeamStatus.NO_LIMITS)
_MISSING_CHANNEL, _NOT_FINITE = int(SeamStatus.MISSING_CHANNEL), int(SeamStatus.NOT_FINITE)
_WELL_KNOWN = 2
_MOST_AHEAD = 8192
"""So many samples of a channel are asked for ahead: more would drive out what is being worked on."""
_AHEAD = 4
"""So many seams before its turn the samples of a seam are asked for; memory takes longer than one seam."""

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


class Seams(NamedTuple):
    """A `TraceBatch`; ``addresses`` are those of the amplitudes of each channel."""

    addresses: Indices
    starts: Indices
    counts: Indices
    start_mm: Array
    pitch_mm: Array
    thickness_a_mm: Array
    thickness_b_mm: Array
    recipe: NDArray[np.int32]


class Limits(NamedTuple):
    """A `LimitTable`, without what the kernel does not read."""

    known: NDArray[np.bool_]
    limit_pct: Array
    dead_zone_start_mm: Array
    dead_zone_end_mm: Array
    beam_width_mm: Array


class Networks(NamedTuple):
    """Comparators of every size, those of size s from ``offsets[s]`` on."""

    pairs: NDArray[np.int32]
    offsets: Indices


class PerSeam(NamedTuple):
    """Results of every seam."""

    status: NDArray[np.int8]
    dead_zone_indications: NDArray[np.int32]
    baseline_pct: Array
    noise_pct: Array


class Found(NamedTuple):
    """Results of every indication, with room for some number of them."""

    seam: NDArray[np.int32]
    indication: NDArray[np.int32]
    start_mm: Array
    end_mm: Array
    peak_mm: Array
    shown: NDArray[np.bool_]
    exceeded: NDArray[np.bool_]
    descriptors: Array


@entry
def run_batch(
    seams: Seams,
    limits: Limits,
    networks: Networks,
    enter_sigma: float,
    leave_sigma: float,
    s: Scratch,
    begin: int,
    m: int,
    per_seam: PerSeam,
    found: Found,
) -> tuple[int, int]:
    """Describe seams from `begin` on until all are done or `found` is full.

    Returns
    -------
    tuple of int
        First seam that is not done, and number of indications so far.
    """
    for first in range(begin, len(seams.recipe), SEAMS):
        last = min(first + SEAMS, len(seams.recipe))
        s.waiting[:] = 0
        for i in range(first, last):
            slot = i - first
            status, here = _take_in(seams, limits, s, i, slot)
            per_seam.status[i] = status
            if status == _DESCRIBED:
                _ask_for(seams, i + _AHEAD)
                n, pitch_mm = seams.counts[i, 0], seams.pitch_mm[i]
                begin_baselines(s, slot, here, n, pitch_mm, networks.pairs, networks.offsets)
        fit_together(s)
        for i in range(first, last):
            if per_seam.status[i] != _DESCRIBED:
                continue
            slot, n, recipe = i - first, seams.counts[i, 0], seams.recipe[i]
            here, pitch_mm, beam_mm = s.waiting[slot, HERE], seams.pitch_mm[i], limits.beam_width_mm[recipe]
            finish_baselines(s, slot, n)
            find_excursions(s, slot, here, n, pitch_mm, beam_mm, networks.pairs, networks.offsets)
            prepare_segments(s, slot, here, n, enter_sigma, leave_sigma)
            begin_mm, end_mm = limits.dead_zone_start_mm[recipe], limits.dead_zone_end_mm[recipe]
            inner, outer = _judged(seams.start_mm[i], pitch_mm, n, begin_mm, end_mm)
            for zone in range(2):
                judged = zone == 1
                if inner > outer if judged else inner <= 0 and outer >= n - 1:
                    continue
                count = _groups(s, slot, here, n, enter_sigma, beam_mm / pitch_mm, inner, outer, judged)
                if not judged:
                    per_seam.dead_zone_indications[i] = count
                elif m + count > len(found.seam):
                    return i, m
                elif count > 0:
                    _write(seams, limits, s, i, slot, n, here, count, m, found)
                    m += count
            for c in range(here):
                channel = s.present[slot, c]
                per_seam.baseline_pct[i, channel] = s.per_channel[slot, LEVEL, c]
                per_seam.noise_pct[i, channel] = s.per_channel[slot, NOISE, c]
    return len(seams.recipe), m


@inlined
def _take_in(seams: Seams, limits: Limits, s: Scratch, i: int, slot: int) -> tuple[int, int]:
    """Copy the channels of a seam to working memory; its status, and the number of channels."""
    recipe = seams.recipe[i]
    if not limits.known[recipe]:
        return _NO_LIMITS, 0
    here, n, present = 0, seams.counts[i, 0], s.present[slot]
    padded, facts = s.padded[slot], s.per_channel[slot]
    for c in range(len(present)):
        if seams.starts[i, c] < 0:
            if c < _WELL_KNOWN:
                return _MISSING_CHANNEL, 0
            continue
        if seams.counts[i, c] != n or n == 0:
            return _MISSING_CHANNEL, 0
        present[here] = c
        here += 1
    for k in range(here):
        c = present[k]
        greatest = copy_from(seams.addresses[c] + 4 * seams.starts[i, c], n, padded[k], s.pad)
        if not greatest < np.inf:
            return _NOT_FINITE, 0
        reflect_ends(padded[k], n, s.pad)
        facts[LIMIT, k] = limits.limit_pct[recipe, c]
        facts[GRID, k] = grid_below(greatest)
    return _DESCRIBED, here


@compiled
def _ask_for(seams: Seams, i: int) -> None:
    """Let the samples of a seam come from memory while another one is worked on."""
    if i < len(seams.recipe):
        for c in range(len(seams.addresses)):
            if seams.starts[i, c] >= 0:
                fetch_ahead(seams.addresses[c] + 4 * seams.starts[i, c], min(seams.counts[i, c], _MOST_AHEAD))


@compiled
def _judged(
    start_mm: float, pitch_mm: float, n: int, dead_start_mm: float, dead_end_mm: float
) -> tuple[int, int]:
    """First and last sample outside the dead zones, by the comparisons of the specification."""
    first_mm = start_mm + dead_start_mm
    last_mm = start_mm + (n - 1) * pitch_mm - dead_end_mm
    first = int(min(max(np.ceil(dead_start_mm / pitch_mm), 0.0), float(n)))
    while first > 0 and start_mm + pitch_mm * (first - 1) >= first_mm:
        first -= 1
    while first < n and not start_mm + pitch_mm * first >= first_mm:
        first += 1
    last = n - 1 - int(min(max(np.ceil(dead_end_mm / pitch_mm), 0.0), float(n)))
    while last < n - 1 and start_mm + pitch_mm * (last + 1) <= last_mm:
        last += 1
    while last >= 0 and not start_mm + pitch_mm * last <= last_mm:
        last -= 1
    return first, last


@inlined
def _groups(
    s: Scratch,
    slot: int,
    channels: int,
    n: int,
    enter_sigma: float,
    beam_samples: float,
    first: int,
    last: int,
    inside: bool,
) -> int:
    """Segment all channels and join the segments; extents are in rows 3 and 4 of ``s.segments``."""
    segment_channels(s, slot, channels, n, enter_sigma, beam_samples, first, last, inside)
    if s.offsets[channels] == 0:
        return 0
    rows = s.segments
    return join_segments(
        rows[0], rows[1], s.offsets, channels, beam_samples, rows[2], rows[3], rows[4], rows[5]
    )


@inlined
def _write(
    seams: Seams,
    limits: Limits,
    s: Scratch,
    i: int,
    slot: int,
    n: int,
    channels: int,
    count: int,
    m: int,
    found: Found,
) -> None:
    """Write the indications of one seam from row m on."""
    start_mm, pitch_mm = seams.start_mm[i], seams.pitch_mm[i]
    beam_mm = limits.beam_width_mm[seams.recipe[i]]
    firsts, lasts, present = s.segments[3], s.segments[4], s.present[slot]
    starts_mm, ends_mm = s.extents[0, :count], s.extents[1, :count]
    for k in range(count):
        starts_mm[k] = start_mm + firsts[k] * pitch_mm
        ends_mm[k] = start_mm + lasts[k] * pitch_mm
        row = m + k
        found.seam[row], found.indication[row] = i, k
        found.start_mm[row], found.end_mm[row] = starts_mm[k], ends_mm[k]
        found.shown[row, :] = False
        found.exceeded[row, :] = False
        for c in range(channels):
            found.exceeded[row, present[c]] = next_set(s.over[c], firsts[k], lasts[k]) <= lasts[k]
    for c in range(channels):
        for member in range(s.offsets[c], s.offsets[c + 1]):
            found.shown[m + s.segments[2, member], present[c]] = True
    for k in range(count):
        peak = _peak(s, slot, channels, found.shown[m + k], firsts[k], lasts[k])
        found.peak_mm[m + k] = start_mm + peak * pitch_mm
    samples = SMOOTH_BEAMS * beam_mm / pitch_mm
    half = average_taps(samples) if n > 1 else 0
    amplitudes, facts = s.padded[slot], s.per_channel[slot]
    noises, limit = facts[NOISE], facts[LIMIT]
    for k in range(count):
        first, last = _window(k, starts_mm, ends_mm, start_mm, pitch_mm, beam_mm, n)
        for c in range(_WELL_KNOWN):
            excursion = s.smooth[c, first:]
            padded = amplitudes[c, s.pad - half + first :]
            baseline, grid, length = s.baseline[c, first:], facts[GRID, c], last - first + 1
            averages_over(padded, baseline, length, samples, half, grid, excursion, s.keys, s.work[0], s.sums)
        describe_indication(
            s.smooth[0],
            s.smooth[1],
            amplitudes[0, s.pad :],
            amplitudes[1, s.pad :],
            s.baseline[0],
            s.baseline[1],
            first,
            last,
            firsts[k],
            lasts[k],
            noises[0],
            noises[1],
            limit[0],
            limit[1],
            start_mm,
            pitch_mm,
            beam_mm,
            n,
            starts_mm,
            ends_mm,
            k,
            seams.thickness_a_mm[i],
            seams.thickness_b_mm[i],
            s.work[1],
            found.descriptors[m + k],
        )


@inlined
def _peak(s: Scratch, slot: int, channels: int, shown: NDArray[np.bool_], first: int, last: int) -> int:
    """Sample of the highest excursion in units of the noise, on the channels that show the indication."""
    peak, height = first, -1e300  # finite, so that a share of it is known
    for c in range(channels):
        if shown[s.present[slot, c]]:
            sigma = s.per_channel[slot, QUIET_NOISE, c]
            at = first_highest(s.excursion[c], first, last, sigma)
            if s.excursion[c, at] / sigma > height + SLACK * np.abs(height):
                peak, height = at, s.excursion[c, at] / sigma
    return peak


@compiled
def _window(
    which: int, starts_mm: Array, ends_mm: Array, start_mm: float, pitch_mm: float, beam_mm: float, n: int
) -> tuple[int, int]:
    """First and last sample: one beam width round the extent, up to half way to a neighbour."""
    left_mm, right_mm = starts_mm[which] - beam_mm, ends_mm[which] + beam_mm
    for k in range(len(starts_mm)):
        if k != which and ends_mm[k] <= starts_mm[which]:
            left_mm = max(left_mm, (ends_mm[k] + starts_mm[which]) / 2.0)
        if k != which and starts_mm[k] >= ends_mm[which]:
            right_mm = min(right_mm, (starts_mm[k] + ends_mm[which]) / 2.0)
    slack = 1e-9 * pitch_mm
    first = int(np.ceil((left_mm - start_mm - slack) / pitch_mm))
    last = int(np.floor((right_mm - start_mm + slack) / pitch_mm))
    return max(first, 0), min(last, n - 1)

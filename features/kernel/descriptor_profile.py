"""One channel in the window of one indication: the compiled twin of ``descriptors.profile``.

Positions are absolute, in mm, and computed by the very operations of the specification, so that
what lies on the edge of something lies on the same side of it in both.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.profile import HUMP_SHARE, HUMP_SIGMA
from seamtell.features.kernel.compiling import compiled, larger, reordering, smaller
from seamtell.features.rounding import SLACK

__all__ = [
    "Facts",
    "Grid",
    "crossings",
    "greatest",
    "outer_crossings",
    "parabola_rms",
    "profile_facts",
    "prominence",
]

Array = NDArray[np.float64]


class Grid(NamedTuple):
    """Window and extent in samples of the seam, both ends inside, and where the samples lie.

    `step_mm` is the distance between samples as the window shows it: the beam width when it
    holds one sample.
    """

    first: int
    last: int
    begin: int
    end: int
    start_mm: float
    pitch_mm: float
    step_mm: float


class Facts(NamedTuple):
    """What several descriptors read of one channel."""

    peak: int
    peak_mm: float
    height: float
    sure: float
    lowest: float
    total: float
    centre_mm: float
    second: float
    third: float
    fourth: float
    humps: int
    first_hump: int
    second_hump: int


@compiled
def position_mm(grid: Grid, i: int) -> float:
    """Position of a sample."""
    return grid.start_mm + grid.pitch_mm * i


@compiled
def _peak(e: Array, grid: Grid) -> int:
    """Highest sample of the extent; the middle one of equal ones."""
    part = e[grid.begin : grid.end + 1]
    highest = greatest(part)
    ties = 0
    for i in range(len(part)):
        ties += part[i] == highest
    at, wanted = 0, (ties - 1) // 2
    for i in range(len(part)):
        if part[i] == highest:
            at = i
            if wanted == 0:
                break
            wanted -= 1
    return grid.begin + at


@reordering
def greatest(part: Array) -> float:
    """Greatest of at least one value, none of them NaN."""
    highest = part[0]
    for i in range(len(part)):
        highest = larger(part[i], highest)
    return highest


@reordering
def _sums(part: Array) -> tuple[float, float]:
    """Sum of the positive values, and their first moment over the sample number."""
    total, first = 0.0, 0.0
    for i in range(len(part)):
        weight = max(part[i], 0.0)
        total += weight
        first += weight * i
    return total, first


@reordering
def _central(part: Array, centre: float) -> tuple[float, float, float]:
    """Sums of the positive values times second, third and fourth power of the distance to a centre."""
    second, third, fourth = 0.0, 0.0, 0.0
    for i in range(len(part)):
        away = i - centre
        weighted = max(part[i], 0.0) * away * away
        second += weighted
        third += weighted * away
        fourth += weighted * away * away
    return second, third, fourth


@reordering
def _least(part: Array) -> float:
    lowest = part[0]
    for i in range(len(part)):
        lowest = smaller(part[i], lowest)
    return lowest


@compiled
def profile_facts(e: Array, grid: Grid, noise: float, scratch: Array) -> Facts:
    """Everything but crossings; `scratch` needs half as many numbers as the window has samples."""
    peak = _peak(e, grid)
    peak_mm = position_mm(grid, peak)
    height = max(0.0, e[peak])
    part = e[grid.begin : grid.end + 1]
    total, first = _sums(part)
    step = grid.step_mm
    centre_mm, second, third, fourth = peak_mm, 0.0, 0.0, 0.0
    if total > 0.0:
        centre = first / total
        centre_mm = position_mm(grid, grid.begin) + centre * step
        second, third, fourth = _central(part, centre)
        second = second / total * step * step
        third = third / total * step * step * step
        fourth = fourth / total * step * step * step * step
    humps, one, two = _humps(e, grid, height, noise, scratch)
    return Facts(
        peak,
        peak_mm,
        height,
        max(height, noise),
        _least(e[grid.first : grid.last + 1]),
        total,
        centre_mm,
        second,
        third,
        fourth,
        humps,
        one,
        two,
    )


@compiled
def _from(e: Array, grid: Grid, left: int, right: int, level: float) -> tuple[float, float]:
    """Where the profile falls below a level outwards of two samples."""
    left_mm, right_mm = position_mm(grid, grid.first), position_mm(grid, grid.last)
    i = left - 1
    while i >= grid.first and e[i] >= level:
        i -= 1
    if i >= grid.first:
        left_mm = position_mm(grid, i) + grid.step_mm * (level - e[i]) / (e[i + 1] - e[i])
    i = right + 1
    while i <= grid.last and e[i] >= level:
        i += 1
    if i <= grid.last:
        right_mm = position_mm(grid, i) - grid.step_mm * (level - e[i]) / (e[i - 1] - e[i])
    return left_mm, right_mm


@compiled
def crossings(e: Array, grid: Grid, facts: Facts, share: float) -> tuple[float, float]:
    """First crossings of a share of the height on the way out from the peak, mm."""
    if facts.height <= 0.0:
        return facts.peak_mm, facts.peak_mm
    return _from(e, grid, facts.peak, facts.peak, share * facts.height)


@compiled
def outer_crossings(e: Array, grid: Grid, facts: Facts, share: float) -> tuple[float, float]:
    """First and last crossing of a share of the height in the extent, mm."""
    if facts.height <= 0.0:
        return facts.peak_mm, facts.peak_mm
    level = share * facts.height
    left, right = grid.begin, grid.end
    while left < facts.peak and e[left] < level:
        left += 1
    while right > facts.peak and e[right] < level:
        right -= 1
    return _from(e, grid, left, right, level)


@compiled
def _saddle(e: Array, index: int, stop: int, way: int) -> float:
    """Lowest value on the way from a sample to anything higher, or to `stop`, which is inside."""
    height = e[index]
    lowest, i = height, index
    while i != stop:
        i += way
        if e[i] > height:
            break
        lowest = min(lowest, e[i])
    return lowest


@compiled
def prominence(e: Array, grid: Grid, index: int) -> float:
    """Height of a sample above the higher of the two lowest points on the way to anything higher."""
    return e[index] - max(_saddle(e, index, grid.first, -1), _saddle(e, index, grid.last, 1))


@compiled
def _humps(e: Array, grid: Grid, height: float, noise: float, tops: Array) -> tuple[int, int, int]:
    """Number of humps, and the two highest (-1 where there is none)."""
    least = max(HUMP_SHARE * height, HUMP_SIGMA * noise) * (1.0 - SLACK)
    count = _local_maxima(e, grid, least, tops)
    kept, one, two = 0, -1, -1
    # From the highest down, the first of equal ones; accepted humps gather at the front of `tops`.
    for k in range(count):
        best = k
        for j in range(k + 1, count):
            if e[int(tops[j])] > e[int(tops[best])] or (
                e[int(tops[j])] == e[int(tops[best])] and tops[j] < tops[best]
            ):
                best = j
        i = int(tops[best])
        tops[best] = tops[k]
        if _stands_out(e, grid, i, least, tops, kept):
            tops[kept] = i
            kept += 1
            if kept == 1:
                one = i
            elif kept == 2:
                two = i
    return kept, one, two


@compiled
def _stands_out(e: Array, grid: Grid, i: int, least: float, humps: Array, kept: int) -> bool:
    """Whether the profile falls by `least` towards each hump so far, and on both sides of the sample."""
    for k in range(kept):
        other = int(humps[k])
        low, high = min(i, other), max(i, other)
        apart = False
        for j in range(low, high):
            if e[j] <= e[i] - least:
                apart = True
                break
        if not apart:
            return False
    return prominence(e, grid, i) >= least


@compiled
def _local_maxima(e: Array, grid: Grid, least: float, tops: Array) -> int:
    """Local maxima of the window in the extent, at least so high; the middle of a flat top."""
    count, rising, changed = 0, False, grid.first
    for i in range(grid.first, grid.last):
        if e[i + 1] == e[i]:
            continue
        if e[i + 1] < e[i] and rising:
            at = grid.first + (changed - grid.first + 1 + i - grid.first) // 2
            if grid.begin <= at <= grid.end and e[at] >= least:
                tops[count] = at
                count += 1
        rising, changed = e[i + 1] > e[i], i
    return count


@reordering
def parabola_rms(values: Array) -> float:
    """Root mean square of what the least-squares parabola leaves; 0 for three values or fewer."""
    count = len(values)
    if count <= 3:
        return 0.0
    mean = 0.0
    for i in range(count):
        mean += values[i]
    mean /= count
    middle, square = (count - 1) / 2.0, (count * count - 1) / 12.0
    slope, bow, lines, bows = 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        line = i - middle
        curve = line * line - square
        slope += line * (values[i] - mean)
        bow += curve * (values[i] - mean)
        lines += line * line
        bows += curve * curve
    slope, bow = slope / lines, bow / bows
    rest = 0.0
    for i in range(count):
        line = i - middle
        left = values[i] - mean - line * slope - (line * line - square) * bow
        rest += left * left
    return np.sqrt(rest / count)

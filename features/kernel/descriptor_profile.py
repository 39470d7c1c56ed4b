"""One channel in the window of one indication: the compiled twin of ``descriptors.profile``.

Positions are absolute, in mm, and computed by the very operations of the specification, so that
what lies on the edge of something lies on the same side of it in both.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.profile import HUMP_SHARE, HUMP_SIGMA
from seamtell.features.kernel.compiling import compiled, inlined, larger
from seamtell.features.kernel.descriptor_humps import find_humps, prominence
from seamtell.features.kernel.descriptor_sums import central_sums, parabola_rest, parabola_sums, positive_sums
from seamtell.features.kernel.search import AT_LEAST, BELOW, first_where, last_where
from seamtell.features.rounding import SLACK

__all__ = [
    "Crossings",
    "Facts",
    "Grid",
    "crossings",
    "outer_crossings",
    "parabola_rms",
    "position_mm",
    "profile_facts",
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
    prominence: float
    lowest: float
    total: float
    centre_mm: float
    second: float
    third: float
    fourth: float
    humps: int
    first_hump: int
    second_hump: int


class Crossings(NamedTuple):
    """Where a profile crosses a level on either side, and the nearest sample beyond."""

    left_mm: float
    right_mm: float
    before: int
    after: int


@compiled
def position_mm(grid: Grid, i: int) -> float:
    """Position of a sample."""
    return grid.start_mm + grid.pitch_mm * i


@compiled
def _peak(e: Array, grid: Grid, highest: float) -> int:
    """Sample of the extent with the highest value; the middle one of equal ones."""
    at = first_where(AT_LEAST, e, grid.begin, grid.end, highest)
    end = last_where(AT_LEAST, e, grid.begin, grid.end, highest)
    if at == end:
        return at
    ties = 0
    for i in range(at, end + 1):
        ties += e[i] == highest
    wanted = (ties - 1) // 2
    while wanted > 0 or e[at] != highest:
        wanted -= e[at] == highest
        at += 1
    return at


@inlined
def profile_facts(e: Array, grid: Grid, noise: float, scratch: Array) -> Facts:
    """Everything but crossings; `scratch` needs half as many numbers as the window has samples."""
    count, step = grid.end - grid.begin + 1, grid.step_mm
    highest, total, first = positive_sums(e, grid.begin, count)
    peak, height = _peak(e, grid, highest), larger(highest, 0.0)
    peak_mm = position_mm(grid, peak)
    centre_mm, second, third, fourth = peak_mm, 0.0, 0.0, 0.0
    if total > 0.0:
        centre = first / total
        centre_mm = position_mm(grid, grid.begin) + centre * step
        square, share = step * step, 1.0 / total
        sums = central_sums(e, grid.begin, count, centre)
        second = sums[0] * share * square
        third = sums[1] * share * square * step
        fourth = sums[2] * share * square * square
    rise, lowest = prominence(e, grid.first, grid.last, peak)
    least = larger(HUMP_SHARE * height, HUMP_SIGMA * noise) * (1.0 - SLACK)
    window, extent = (grid.first, grid.last), (grid.begin, grid.end)
    humps, one, two = find_humps(e, window, extent, least, peak, rise, scratch)
    return Facts(
        peak,
        peak_mm,
        height,
        larger(height, noise),
        rise,
        lowest,
        total,
        centre_mm,
        second,
        third,
        fourth,
        humps,
        one,
        two,
    )


@inlined
def _interpolated(e: Array, grid: Grid, i: int, j: int, level: float) -> Crossings:
    """Crossings of a level behind sample i and before sample j, or at the ends of the window."""
    left_mm, right_mm = position_mm(grid, max(i, grid.first)), position_mm(grid, min(j, grid.last))
    if i >= grid.first:
        left_mm += grid.step_mm * (level - e[i]) / (e[i + 1] - e[i])
    if j <= grid.last:
        right_mm -= grid.step_mm * (level - e[j]) / (e[j - 1] - e[j])
    return Crossings(left_mm, right_mm, i, j)


@inlined
def crossings(e: Array, grid: Grid, peak: int, level: float) -> Crossings:
    """First crossings of a level on the way out from the peak; the peak on both sides of no level."""
    if level <= 0.0:
        return Crossings(position_mm(grid, peak), position_mm(grid, peak), peak - 1, peak + 1)
    i = last_where(BELOW, e, grid.first, peak - 1, level)
    j = first_where(BELOW, e, peak + 1, grid.last, level)
    return _interpolated(e, grid, i, j, level)


@inlined
def outer_crossings(e: Array, grid: Grid, peak: int, level: float) -> Crossings:
    """First and last crossing of a level, which the peak reaches, in the extent; or the nearest outside."""
    if level <= 0.0:
        return Crossings(position_mm(grid, peak), position_mm(grid, peak), peak - 1, peak + 1)
    if e[grid.begin] < level:
        i = first_where(AT_LEAST, e, grid.begin, peak, level) - 1
    else:
        i = last_where(BELOW, e, grid.first, grid.begin - 1, level)
    if e[grid.end] < level:
        j = last_where(AT_LEAST, e, peak, grid.end, level) + 1
    else:
        j = first_where(BELOW, e, grid.end + 1, grid.last, level)
    return _interpolated(e, grid, i, j, level)


@compiled
def parabola_rms(e: Array, first: int, count: int) -> float:
    """Root mean square of what the least-squares parabola leaves; 0 for three values or fewer."""
    if count <= 3:
        return 0.0
    middle, square = (count - 1) / 2.0, (count * count - 1) / 12.0
    total, slope, bow = parabola_sums(e, first, count, middle, square)
    # Sums of squares of x and of x² − `square` over the samples, by which both sums are divided.
    lines = count * square
    bows = lines * (count * count - 4) / 15.0
    slope, bow = slope / lines, bow / bows
    return np.sqrt(parabola_rest(e, first, count, middle, total / count - bow * square, slope, bow) / count)

"""Descriptors of both channels together, and of the indication as a whole."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.context import _FAR_BEAMS, _NEAR_BEAMS
from seamtell.features.descriptors.cross_channel import _MOST_DB
from seamtell.features.kernel.compiling import compiled, inlined, larger, smaller
from seamtell.features.kernel.descriptor_decibels import decibels
from seamtell.features.kernel.descriptor_lag import PAD, best_lag, pad
from seamtell.features.kernel.descriptor_places import place
from seamtell.features.kernel.descriptor_products import energies
from seamtell.features.kernel.descriptor_profile import Facts, Grid, position_mm
from seamtell.features.kernel.descriptor_sums import side_sums
from seamtell.features.kernel.lanes import EIGHT

__all__ = ["describe_both", "describe_extent", "describe_likeness"]

Array = NDArray[np.float64]

_EXTENT_MM, _EXTENT_BEAMS = place("extent_mm"), place("extent_beams")
_HUMP_SEPARATION, _HUMP_SEPARATION_BEAMS = place("hump_separation"), place("hump_separation_beams")
_HEIGHT_RATIO, _HEIGHT_RATIO_DB = place("height_ratio"), place("height_ratio_db")
_QUADRATURE_RATIO_DB, _AREA_RATIO_DB = place("quadrature_ratio_db"), place("area_ratio_db")
_LAG_MM, _LAG_BEAMS = place("lag_mm"), place("lag_beams")
_CORRELATION, _PROPORTIONAL = place("correlation_at_best_lag"), place("proportional_residual")
_COMMON_GAIN = place("common_gain_residual")
_ENDS_OVER_MIDDLE_DB, _AT_CENTRE = place("scatter_ends_over_middle_db"), place("scatter_at_centre")
_SIDES_DB, _END_RATIO_DB = place("scatter_sides_db"), place("scatter_end_ratio_db")
_PEAK_OFFSET, _CENTRE_OFFSET = place("peak_offset"), place("centre_offset")
_SPREAD_RATIO_DB, _WIDTH_RATIO = place("spread_ratio_db"), place("width_ratio")
_END_DISTANCE_MM, _END_DISTANCE_BEAMS = place("end_distance_mm"), place("end_distance_beams")
_NEIGHBOURS, _THICKNESS_RATIO = place("neighbours"), place("thickness_ratio")


@compiled
def _ratio_db(upper: float, lower: float) -> float:
    """20 lg of a ratio, held within ±30 dB; 0 dB when both are nothing."""
    if upper <= 0.0 and lower <= 0.0:
        return 0.0
    if lower <= 0.0:
        return _MOST_DB
    if upper <= 0.0:
        return -_MOST_DB
    return smaller(larger(decibels(upper / lower), -_MOST_DB), _MOST_DB)


@compiled
def describe_both(
    s: Facts,
    c: Facts,
    c_values: Array,
    grid: Grid,
    specular_level: float,
    noise_c: float,
    left_mm: float,
    right_mm: float,
    c_width_mm: float,
    beam_mm: float,
    out: Array,
) -> None:
    """Write what heights, areas, moments and crossings of both give; left and right are those of specular."""
    out[_HEIGHT_RATIO] = s.sure / (s.sure + c.sure)
    out[_HEIGHT_RATIO_DB] = _ratio_db(s.sure, c.sure)
    out[_QUADRATURE_RATIO_DB] = _ratio_db(np.sqrt(s.sure * (s.sure + 2.0 * specular_level)), c.sure)
    out[_AREA_RATIO_DB] = _ratio_db(s.total * grid.step_mm, c.total * grid.step_mm)
    out[_CENTRE_OFFSET] = abs(s.centre_mm - c.centre_mm) / beam_mm
    out[_SPREAD_RATIO_DB] = _ratio_db(np.sqrt(c.second), np.sqrt(s.second))
    width, middle = right_mm - left_mm, (left_mm + right_mm) / 2.0
    out[_WIDTH_RATIO] = min(c_width_mm / width, 5.0) if width > 0.0 else 0.0
    out[_PEAK_OFFSET] = min(abs(c.peak_mm - middle) / (width / 2.0), 3.0) if width > 0.0 else 0.0
    apart = 0.0
    if c.humps >= 2:
        apart = abs(position_mm(grid, c.first_hump) - position_mm(grid, c.second_hump))
    out[_HUMP_SEPARATION] = min(apart / width, 5.0) if width > 0.0 else 0.0
    out[_HUMP_SEPARATION_BEAMS] = min(apart / beam_mm, 20.0)
    at_left = _near(c_values, grid, left_mm, beam_mm)
    at_right = _near(c_values, grid, right_mm, beam_mm)
    at_middle = _near(c_values, grid, middle, beam_mm)
    ends = (at_left + at_right) / 2.0
    out[_ENDS_OVER_MIDDLE_DB] = _ratio_db(max(ends, noise_c), max(at_middle, noise_c))
    out[_AT_CENTRE] = min(max(at_middle / c.sure, 0.0), 1.0)
    out[_END_RATIO_DB] = abs(_ratio_db(max(at_left, noise_c), max(at_right, noise_c)))
    offset = (position_mm(grid, grid.begin) - s.centre_mm) / grid.step_mm + 0.5
    before, after = side_sums(c_values, grid.begin, grid.end - grid.begin + 1, offset)
    out[_SIDES_DB] = abs(_ratio_db(before, after))


@inlined
def _near(values: Array, grid: Grid, at_mm: float, beam_mm: float) -> float:
    """Excursion, linear between samples, averaged over a quarter of the beam."""
    total, last = 0.0, grid.last - grid.first
    middle = (at_mm - position_mm(grid, grid.first)) / grid.pitch_mm
    apart = beam_mm * 0.0625 / grid.pitch_mm
    for k in range(-2, 3):
        x = smaller(larger(middle + apart * k, 0.0), float(last))
        i = int(x)
        low = values[grid.first + i]
        total += low + (x - i) * (values[grid.first + min(i + 1, last)] - low)
    return total / 5.0


@compiled
def describe_likeness(
    s: Array, c: Array, grid: Grid, gain: float, beam_mm: float, scratch: Array, out: Array
) -> None:
    """Write lag, correlation and residuals of the two windows; `gain` is the ratio of the two levels.

    `scratch` is an array of at least 8 numbers a sample of the window, and 384.
    """
    w = grid.last - grid.first + 1
    room = (w + EIGHT - 1) // EIGHT * EIGHT + 2 * PAD
    s_padded, c_padded, rest = scratch[:room], scratch[room : 2 * room], scratch[2 * room :]
    pad(s, grid.first, w, s_padded)
    pad(c, grid.first, w, c_padded)
    ss, cc, sc, left, s_steps, c_steps = energies(s_padded, c_padded, PAD - 1, w + 1, gain)
    energy = ss * cc
    norm, lag, correlation = np.sqrt(energy), 0, 0.0
    if norm > 0.0:
        lag, peak = best_lag(s_padded, c_padded, w, norm, np.sqrt(s_steps * c_steps), rest)
        correlation = peak / norm
    out[_LAG_MM] = lag * grid.step_mm
    out[_LAG_BEAMS] = lag * grid.step_mm / beam_mm
    out[_CORRELATION] = correlation
    out[_PROPORTIONAL] = 1.0 - sc * sc / energy if energy > 0.0 else 1.0
    sizes = np.sqrt(cc) + np.sqrt(ss) * abs(gain)
    out[_COMMON_GAIN] = np.sqrt(left) / sizes if sizes > 0.0 else 1.0


@compiled
def describe_extent(
    starts_mm: Array,
    ends_mm: Array,
    which: int,
    grid: Grid,
    n: int,
    beam_mm: float,
    thickness_a_mm: float,
    thickness_b_mm: float,
    out: Array,
) -> None:
    """Write what needs no amplitude: length, place on the seam, neighbours, sheets."""
    length = position_mm(grid, grid.end) - position_mm(grid, grid.begin)
    out[_EXTENT_MM] = length
    out[_EXTENT_BEAMS] = length / beam_mm
    begin, end = starts_mm[which], ends_mm[which]
    last_mm = grid.start_mm + (n - 1) * grid.pitch_mm
    distance = min(begin - grid.start_mm, last_mm - end)
    out[_END_DISTANCE_MM] = distance
    out[_END_DISTANCE_BEAMS] = min(distance / beam_mm, _FAR_BEAMS)
    near = 0
    for k in range(len(starts_mm)):
        if k != which and max(starts_mm[k] - end, begin - ends_mm[k]) <= _NEAR_BEAMS * beam_mm:
            near += 1
    out[_NEIGHBOURS] = near
    thin, thick = min(thickness_a_mm, thickness_b_mm), max(thickness_a_mm, thickness_b_mm)
    known = np.isfinite(thickness_a_mm) and np.isfinite(thickness_b_mm) and thin > 0.0
    out[_THICKNESS_RATIO] = thin / thick if known else 1.0

"""Descriptors of one channel: peak shape, width and what surrounds it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.profile import HUMP_SHARE
from seamtell.features.descriptors.shape import _TOP_SHARE
from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.descriptor_places import place_of_both
from seamtell.features.kernel.descriptor_profile import (
    Facts,
    Grid,
    crossings,
    greatest,
    outer_crossings,
    parabola_rms,
    position_mm,
    prominence,
)

__all__ = ["describe_channel"]

Array = NDArray[np.float64]

_HEIGHT_PCT = place_of_both("height_pct")
_OVER_LIMIT = place_of_both("over_limit")
_HEIGHT_DB = place_of_both("height_db")
_HEIGHT_OVER_NOISE_DB = place_of_both("height_over_noise_db")
_PROMINENCE_PCT = place_of_both("prominence_pct")
_PROMINENCE_SHARE = place_of_both("prominence_share")
_STEEPER_SLOPE = place_of_both("steeper_slope_pct_per_mm")
_STEEPER_FLANK = place_of_both("steeper_flank")
_GENTLER_FLANK = place_of_both("gentler_flank")
_ASYMMETRY = place_of_both("asymmetry")
_FLATNESS = place_of_both("flatness")
_SKEWNESS_SIZE = place_of_both("skewness_size")
_KURTOSIS = place_of_both("kurtosis")
_HUMPS = place_of_both("humps")
_SECOND_HUMP = place_of_both("second_hump")
_SECOND_HUMP_DB = place_of_both("second_hump_db")
_HUMP_DIP = place_of_both("hump_dip")
_TOP_ROUGHNESS = place_of_both("top_roughness")
_FWHM_MM = place_of_both("fwhm_mm")
_WIDTH_10_MM = place_of_both("width_10_mm")
_WIDTH_90_MM = place_of_both("width_90_mm")
_FWHM_BEAMS = place_of_both("fwhm_beams")
_OUTER_WIDTH_BEAMS = place_of_both("outer_width_beams")
_EQUIVALENT_WIDTH_MM = place_of_both("equivalent_width_mm")
_EQUIVALENT_WIDTH_BEAMS = place_of_both("equivalent_width_beams")
_RMS_WIDTH_BEAMS = place_of_both("rms_width_beams")
_TAIL_RATIO = place_of_both("tail_ratio")
_AREA_PCT_MM = place_of_both("area_pct_mm")
_AREA_DB = place_of_both("area_db")
_LEVEL = place_of_both("baseline_level_pct")
_NOISE = place_of_both("noise_pct")
_UNDERSHOOT = place_of_both("undershoot")

_VARIANCE_TO_FWHM = 8.0 * np.log(2.0)


@compiled
def describe_channel(
    c: int,
    e: Array,
    raw: NDArray[np.float32],
    grid: Grid,
    facts: Facts,
    noise: float,
    limit: float,
    level: float,
    specular_level: float,
    beam_mm: float,
    out: Array,
) -> tuple[float, float]:
    """Write every descriptor of channel c (0 specular, 1 scatter); its outer crossings of half the height."""
    height, sure = facts.height, facts.sure
    out[_HEIGHT_PCT + c] = height
    out[_OVER_LIMIT + c] = _highest(raw, grid) / limit
    out[_HEIGHT_DB + c] = 20.0 * np.log10(sure / specular_level)
    out[_HEIGHT_OVER_NOISE_DB + c] = 20.0 * np.log10(sure / noise)
    rise = prominence(e, grid, facts.peak)
    out[_PROMINENCE_PCT + c] = rise
    out[_PROMINENCE_SHARE + c] = min(max(rise / sure, 0.0), 2.0)
    _moments(c, facts, beam_mm, out)
    _of_humps(c, e, facts, out)
    area = facts.total * grid.step_mm
    out[_AREA_PCT_MM + c] = area
    out[_EQUIVALENT_WIDTH_MM + c] = area / sure
    out[_EQUIVALENT_WIDTH_BEAMS + c] = area / sure / beam_mm
    out[_AREA_DB + c] = 20.0 * np.log10(max(area, noise * beam_mm) / (specular_level * beam_mm))
    out[_LEVEL + c] = level
    out[_NOISE + c] = noise
    out[_UNDERSHOOT + c] = max(0.0, -facts.lowest) / specular_level
    return _widths(c, e, grid, facts, beam_mm, out)


@compiled
def _highest(raw: NDArray[np.float32], grid: Grid) -> float:
    return float(greatest(raw[grid.begin : grid.end + 1]))


@compiled
def _moments(c: int, facts: Facts, beam_mm: float, out: Array) -> None:
    second = facts.second
    out[_SKEWNESS_SIZE + c] = abs(facts.third) / (second * np.sqrt(second)) if second > 0.0 else 0.0
    out[_KURTOSIS + c] = facts.fourth / (second * second) - 3.0 if second > 0.0 else -1.2
    out[_RMS_WIDTH_BEAMS + c] = np.sqrt(_VARIANCE_TO_FWHM * second) / beam_mm


@compiled
def _of_humps(c: int, e: Array, facts: Facts, out: Array) -> None:
    least_db = 20.0 * np.log10(HUMP_SHARE)
    out[_HUMPS + c] = max(1, facts.humps)
    if facts.humps < 2:
        out[_SECOND_HUMP + c], out[_SECOND_HUMP_DB + c], out[_HUMP_DIP + c] = 0.0, least_db, 0.0
        return
    one, two = facts.first_hump, facts.second_hump
    ratio = e[two] / facts.sure
    out[_SECOND_HUMP + c] = ratio
    out[_SECOND_HUMP_DB + c] = max(20.0 * np.log10(ratio), least_db)
    lowest = e[min(one, two)]
    for i in range(min(one, two), max(one, two)):
        lowest = min(lowest, e[i])
    out[_HUMP_DIP + c] = 1.0 - max(0.0, lowest) / e[two]


@compiled
def _widths(c: int, e: Array, grid: Grid, facts: Facts, beam_mm: float, out: Array) -> tuple[float, float]:
    """Everything that follows from crossings."""
    half_left, half_right = crossings(e, grid, facts, 0.5)
    fwhm = half_right - half_left
    out[_FWHM_MM + c] = fwhm
    out[_FWHM_BEAMS + c] = fwhm / beam_mm
    left, right = facts.peak_mm - half_left, half_right - facts.peak_mm
    out[_ASYMMETRY + c] = abs(right - left) / (right + left) if right + left > 0.0 else 0.0
    left, right = crossings(e, grid, facts, 0.1)
    out[_WIDTH_10_MM + c] = right - left
    left, right = crossings(e, grid, facts, 0.9)
    out[_WIDTH_90_MM + c] = right - left
    outer_left, outer_right = outer_crossings(e, grid, facts, 0.5)
    outer = outer_right - outer_left
    out[_OUTER_WIDTH_BEAMS + c] = outer / beam_mm
    left, right = outer_crossings(e, grid, facts, 0.2)
    out[_TAIL_RATIO + c] = (right - left) / outer if outer > 0.0 else 1.0
    low_left, low_right = outer_crossings(e, grid, facts, 0.1)
    high_left, high_right = outer_crossings(e, grid, facts, 0.9)
    out[_FLATNESS + c] = (high_right - high_left) / outer if outer > 0.0 else 0.0
    rising = max(high_left - low_left, grid.step_mm / 2.0)
    falling = max(low_right - high_right, grid.step_mm / 2.0)
    shorter = min(rising, falling)
    out[_STEEPER_SLOPE + c] = 0.8 * facts.height / shorter
    out[_STEEPER_FLANK + c] = 0.8 * beam_mm / shorter
    out[_GENTLER_FLANK + c] = 0.8 * beam_mm / max(rising, falling)
    left, right = outer_crossings(e, grid, facts, _TOP_SHARE)
    first, last = grid.first, grid.last
    while first <= last and not position_mm(grid, first) >= left:
        first += 1
    while last >= first and not position_mm(grid, last) <= right:
        last -= 1
    out[_TOP_ROUGHNESS + c] = parabola_rms(e[first : last + 1]) / facts.sure
    return outer_left, outer_right

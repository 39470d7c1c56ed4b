"""Descriptors of one channel: peak shape, width and what surrounds it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.profile import HUMP_SHARE
from seamtell.features.descriptors.shape import _TOP_SHARE
from seamtell.features.kernel.compiling import compiled, inlined, larger, smaller
from seamtell.features.kernel.descriptor_decibels import decibels
from seamtell.features.kernel.descriptor_places import place_of_both
from seamtell.features.kernel.descriptor_profile import (
    Crossings,
    Facts,
    Grid,
    crossings,
    outer_crossings,
    parabola_rms,
    position_mm,
)
from seamtell.features.kernel.descriptor_sums import extremes

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
_LEAST_HUMP_DB = 20.0 * np.log10(HUMP_SHARE)


@compiled
def describe_channel(
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
    """Write every descriptor of one channel; its outer crossings of half the height, mm.

    Places are those of specular; for scatter, which stands next to it, give ``out[1:]``.
    """
    height, sure = facts.height, facts.sure
    out[_HEIGHT_PCT] = height
    out[_OVER_LIMIT] = extremes(raw, grid.begin, grid.end - grid.begin + 1)[1] / limit
    out[_HEIGHT_DB] = decibels(sure / specular_level)
    out[_HEIGHT_OVER_NOISE_DB] = decibels(sure / noise)
    out[_PROMINENCE_PCT] = facts.prominence
    out[_PROMINENCE_SHARE] = smaller(larger(facts.prominence / sure, 0.0), 2.0)
    _moments(facts, beam_mm, out)
    _of_humps(e, facts, out)
    area = facts.total * grid.step_mm
    out[_AREA_PCT_MM] = area
    out[_EQUIVALENT_WIDTH_MM] = area / sure
    out[_EQUIVALENT_WIDTH_BEAMS] = area / sure / beam_mm
    out[_AREA_DB] = decibels(larger(area, noise * beam_mm) / (specular_level * beam_mm))
    out[_LEVEL] = level
    out[_NOISE] = noise
    out[_UNDERSHOOT] = larger(-facts.lowest, 0.0) / specular_level
    return _widths(e, grid, facts, beam_mm, out)


@compiled
def _moments(facts: Facts, beam_mm: float, out: Array) -> None:
    second = facts.second
    out[_SKEWNESS_SIZE] = abs(facts.third) / (second * np.sqrt(second)) if second > 0.0 else 0.0
    out[_KURTOSIS] = facts.fourth / (second * second) - 3.0 if second > 0.0 else -1.2
    out[_RMS_WIDTH_BEAMS] = np.sqrt(_VARIANCE_TO_FWHM * second) / beam_mm


@compiled
def _of_humps(e: Array, facts: Facts, out: Array) -> None:
    out[_HUMPS] = max(1, facts.humps)
    if facts.humps < 2:
        out[_SECOND_HUMP], out[_SECOND_HUMP_DB], out[_HUMP_DIP] = 0.0, _LEAST_HUMP_DB, 0.0
        return
    one, two = facts.first_hump, facts.second_hump
    ratio = e[two] / facts.sure
    out[_SECOND_HUMP] = ratio
    out[_SECOND_HUMP_DB] = larger(decibels(ratio), _LEAST_HUMP_DB)
    lowest = extremes(e, min(one, two), abs(two - one))[0]
    out[_HUMP_DIP] = 1.0 - larger(lowest, 0.0) / e[two]


@inlined
def _widths(e: Array, grid: Grid, facts: Facts, beam_mm: float, out: Array) -> tuple[float, float]:
    """Everything that follows from crossings."""
    height, peak = facts.height, facts.peak
    half = crossings(e, grid, peak, 0.5 * height)
    fwhm = half.right_mm - half.left_mm
    out[_FWHM_MM] = fwhm
    out[_FWHM_BEAMS] = fwhm / beam_mm
    left, right = facts.peak_mm - half.left_mm, half.right_mm - facts.peak_mm
    out[_ASYMMETRY] = abs(right - left) / (right + left) if right + left > 0.0 else 0.0
    low, high = crossings(e, grid, peak, 0.1 * height), crossings(e, grid, peak, 0.9 * height)
    out[_WIDTH_10_MM] = low.right_mm - low.left_mm
    out[_WIDTH_90_MM] = high.right_mm - high.left_mm
    middle, tail = outer_crossings(e, grid, peak, 0.5 * height), outer_crossings(e, grid, peak, 0.2 * height)
    low, high = outer_crossings(e, grid, peak, 0.1 * height), outer_crossings(e, grid, peak, 0.9 * height)
    outer = middle.right_mm - middle.left_mm
    out[_OUTER_WIDTH_BEAMS] = outer / beam_mm
    out[_TAIL_RATIO] = (tail.right_mm - tail.left_mm) / outer if outer > 0.0 else 1.0
    out[_FLATNESS] = (high.right_mm - high.left_mm) / outer if outer > 0.0 else 0.0
    rising = larger(high.left_mm - low.left_mm, grid.step_mm / 2.0)
    falling = larger(low.right_mm - high.right_mm, grid.step_mm / 2.0)
    shorter, longer = smaller(rising, falling), larger(rising, falling)
    out[_STEEPER_SLOPE] = 0.8 * height / shorter
    out[_STEEPER_FLANK] = 0.8 * beam_mm / shorter
    out[_GENTLER_FLANK] = 0.8 * beam_mm / longer
    out[_TOP_ROUGHNESS] = (
        _roughness(e, grid, outer_crossings(e, grid, peak, _TOP_SHARE * height)) / facts.sure
    )
    return middle.left_mm, middle.right_mm


@inlined
def _roughness(e: Array, grid: Grid, top: Crossings) -> float:
    """Root mean square about the best parabola, of the samples that lie between two crossings."""
    first, last = max(top.before, grid.first), min(top.after, grid.last)
    while first <= last and not position_mm(grid, first) >= top.left_mm:
        first += 1
    while last >= first and not position_mm(grid, last) <= top.right_mm:
        last -= 1
    return parabola_rms(e, first, last - first + 1)

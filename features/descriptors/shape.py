"""Peak-shape descriptors: how high, how steep, how flat, how lumpy.

Moments use the positive excursion over position as weights. Nothing here knows
left from right: whatever is one-sided is given by its size alone.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors.definition import Family, per_channel
from seamtell.features.descriptors.profile import HUMP_SHARE, Profile

__all__ = [
    "asymmetry",
    "flatness",
    "gentler_flank",
    "height_db",
    "height_over_noise_db",
    "height_pct",
    "hump_dip",
    "humps",
    "kurtosis",
    "over_limit",
    "prominence_pct",
    "prominence_share",
    "second_hump",
    "second_hump_db",
    "skewness_size",
    "steeper_flank",
    "steeper_slope_pct_per_mm",
    "top_roughness",
]

_SHAPE = Family.PEAK_SHAPE
_TOP_SHARE = 0.7
_LEAST_HUMP_DB = 20.0 * math.log10(HUMP_SHARE)


@per_channel(
    _SHAPE,
    "% FSH",
    meaning="height over the baseline",
    formula="H = max e in the extent, ≥ 0",
    gain="follows",
)
def height_pct(profile: Profile) -> float:
    """Highest smoothed excursion inside the extent."""
    return profile.height_pct


@per_channel(
    _SHAPE,
    "1",
    meaning="highest amplitude over the limit",
    formula="max raw amplitude / limit",
    gain="follows",
)
def over_limit(profile: Profile) -> float:
    """Above 1 the limit rule rejects; 0 when the recipe states no limit for the channel."""
    return profile.highest_pct / profile.limit_pct


@per_channel(
    _SHAPE,
    "dB",
    meaning="height over the level of the sound seam on specular",
    formula="20 lg(max(H, σ) / L)",
)
def height_db(profile: Profile) -> float:
    """Both channels are compared with the specular level, which a sound seam gives steadily."""
    return 20.0 * math.log10(profile.sure_height_pct / profile.specular_level_pct)


@per_channel(_SHAPE, "dB", meaning="height over the noise", formula="20 lg(max(H, σ) / σ)")
def height_over_noise_db(profile: Profile) -> float:
    """0 dB for whatever does not rise above the noise."""
    return 20.0 * math.log10(profile.sure_height_pct / profile.noise_pct)


@per_channel(
    _SHAPE,
    "% FSH",
    meaning="prominence of the peak",
    formula="H − higher of the two lowest e on the way to anything higher, or to the window's end",
    gain="follows",
)
def prominence_pct(profile: Profile) -> float:
    """Topographic prominence in the window; 0 for a flat profile."""
    return profile.peak_prominence_pct


@per_channel(
    _SHAPE, "1", meaning="prominence as a share of the height", formula="clip(prominence / max(H, σ), 0, 2)"
)
def prominence_share(profile: Profile) -> float:
    """Near 1 for a peak that stands alone, above 1 where the channel dips beside it."""
    share = profile.peak_prominence_pct / profile.sure_height_pct
    return float(np.clip(share, 0.0, 2.0))


def _flank_mm(profile: Profile) -> tuple[float, float]:
    """Shorter and longer way between 10 % and 90 % of the height, each at least half a sample."""
    low, high = profile.outer_crossings(0.1), profile.outer_crossings(0.9)
    least = profile.pitch_mm / 2.0
    left = max(high.left_mm - low.left_mm, least)
    right = max(low.right_mm - high.right_mm, least)
    return min(left, right), max(left, right)


@per_channel(
    _SHAPE,
    "% FSH/mm",
    meaning="slope of the steeper flank",
    formula="0.8 H / shorter way from 10 % to 90 % of H",
    gain="follows",
)
def steeper_slope_pct_per_mm(profile: Profile) -> float:
    """Mean slope between the outermost 10 % and 90 % points."""
    return 0.8 * profile.height_pct / _flank_mm(profile)[0]


@per_channel(
    _SHAPE,
    "1",
    meaning="steeper flank, in heights per beam width",
    formula="0.8 b / shorter way from 10 % to 90 % of H",
)
def steeper_flank(profile: Profile) -> float:
    """About 1.1 for a Gaussian as wide as the beam."""
    return 0.8 * profile.beam_mm / _flank_mm(profile)[0]


@per_channel(
    _SHAPE,
    "1",
    meaning="gentler flank, in heights per beam width",
    formula="0.8 b / longer way from 10 % to 90 % of H",
)
def gentler_flank(profile: Profile) -> float:
    """Far below the steeper one where the depth of a flaw tapers off."""
    return 0.8 * profile.beam_mm / _flank_mm(profile)[1]


@per_channel(
    _SHAPE,
    "1",
    meaning="size of the asymmetry about the peak at half height",
    formula="abs(right − left) / (right + left), half widths from the peak at H/2",
)
def asymmetry(profile: Profile) -> float:
    """0 for a symmetric hump, 1 for a cliff; 0 when there is no width."""
    at = profile.crossings(0.5)
    peak_mm = float(profile.position_mm[profile.peak])
    left, right = peak_mm - at.left_mm, at.right_mm - peak_mm
    return abs(right - left) / (right + left) if right + left > 0.0 else 0.0


@per_channel(
    _SHAPE,
    "1",
    meaning="flatness of the top",
    formula="outer width at 0.9 H / outer width at 0.5 H",
)
def flatness(profile: Profile) -> float:
    """0.39 for a Gaussian, near 1 for a plateau; 0 when there is no width."""
    half = profile.outer_crossings(0.5).width_mm
    return profile.outer_crossings(0.9).width_mm / half if half > 0.0 else 0.0


@per_channel(
    _SHAPE,
    "1",
    meaning="size of the skewness",
    formula="abs(m3) / m2^1.5, moments of max(e, 0) over position",
)
def skewness_size(profile: Profile) -> float:
    """0 for a symmetric hump, and when there is no spread."""
    second, third, _ = profile.moments
    return abs(third) / second**1.5 if second > 0.0 else 0.0


@per_channel(
    _SHAPE, "1", meaning="excess kurtosis", formula="m4 / m2² − 3, moments of max(e, 0) over position"
)
def kurtosis(profile: Profile) -> float:
    """−1.2 for a plateau, −2 for two ends, near 0 for a hump; −1.2 when there is no spread."""
    second, _, fourth = profile.moments
    return fourth / second**2 - 3.0 if second > 0.0 else -1.2


@per_channel(
    _SHAPE,
    "1",
    meaning="number of humps",
    formula="local maxima with height and prominence ≥ max(0.1 H, 2 σ), at least 1",
)
def humps(profile: Profile) -> float:
    """One for a pinhole, two for the ends of a longer flaw on scatter."""
    return float(max(1, len(profile.humps)))


@per_channel(
    _SHAPE,
    "1",
    meaning="second hump over the first",
    formula="height of the second highest hump / H; 0 if none",
)
def second_hump(profile: Profile) -> float:
    """Two equal ends answer a tilted beam as about 1 to 2."""
    return profile.humps[1].height_pct / profile.sure_height_pct if len(profile.humps) > 1 else 0.0


@per_channel(
    _SHAPE,
    "dB",
    meaning="second hump over the first, in decibels",
    formula="20 lg(height of the second highest hump / H), at least −20; −20 if none",
)
def second_hump_db(profile: Profile) -> float:
    """Ends that scatter apart keep their ratio whatever the length between them."""
    if len(profile.humps) < 2:
        return _LEAST_HUMP_DB
    ratio = profile.humps[1].height_pct / profile.sure_height_pct
    return max(20.0 * math.log10(ratio), _LEAST_HUMP_DB)


@per_channel(
    _SHAPE,
    "1",
    meaning="depth of the dip between the two highest humps",
    formula="1 − lowest e between them / height of the lower; 0 if fewer than two",
)
def hump_dip(profile: Profile) -> float:
    """1 when the channel falls back to its baseline between the humps."""
    if len(profile.humps) < 2:
        return 0.0
    first, second = profile.humps[:2]
    between = slice(min(first.index, second.index), max(first.index, second.index))
    return 1.0 - max(0.0, float(profile.excursion_pct[between].min())) / second.height_pct


@per_channel(
    _SHAPE,
    "1",
    meaning="raggedness of the top",
    formula="rms of e about its best parabola, between the outer crossings of 0.7 H, / max(H, σ)",
)
def top_roughness(profile: Profile) -> float:
    """0 for smooth tops and for tops of three samples or fewer."""
    at = profile.outer_crossings(_TOP_SHARE)
    inside = (profile.position_mm >= at.left_mm) & (profile.position_mm <= at.right_mm)
    return _rms_about_parabola(profile.excursion_pct[inside]) / profile.sure_height_pct


def _rms_about_parabola(values: NDArray[np.float64]) -> float:
    """Residual of the least-squares parabola on a regular grid, by orthogonal polynomials."""
    count = len(values)
    if count <= 3:
        return 0.0
    line = np.arange(count) - (count - 1) / 2.0
    bow = line * line - (count * count - 1) / 12.0
    rest = values - values.mean()
    rest = rest - line * (line @ rest) / (line @ line) - bow * (bow @ rest) / (bow @ bow)
    return float(np.sqrt(rest @ rest / count))

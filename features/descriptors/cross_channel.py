"""Cross-channel descriptors: how the two channels relate.

One flaw gives both channels, so their relation carries what either alone does
not: short flaws scatter all round, long ones mirror and scatter at their ends.
Opposite tilt of the scatter head mirrors its trace, so only the size of a
one-sidedness is given, never its side.
"""

from __future__ import annotations

import math

import numpy as np

from seamtell.features.descriptors.definition import Family, descriptor
from seamtell.features.descriptors.profile import IndicationView

__all__ = [
    "area_ratio_db",
    "centre_offset",
    "common_gain_residual",
    "correlation_at_best_lag",
    "height_ratio",
    "height_ratio_db",
    "lag_beams",
    "lag_mm",
    "peak_offset",
    "proportional_residual",
    "quadrature_ratio_db",
    "scatter_at_centre",
    "scatter_end_ratio_db",
    "scatter_ends_over_middle_db",
    "scatter_sides_db",
    "spread_ratio_db",
    "width_ratio",
]

_CROSS = Family.CROSS_CHANNEL
_MOST_DB = 30.0


def _ratio_db(upper: float, lower: float) -> float:
    """20 lg of a ratio, held within ±30 dB; 0 dB when both are nothing."""
    if upper <= 0.0 and lower <= 0.0:
        return 0.0
    if lower <= 0.0:
        return _MOST_DB
    if upper <= 0.0:
        return -_MOST_DB
    return float(np.clip(20.0 * math.log10(upper / lower), -_MOST_DB, _MOST_DB))


@descriptor(
    _CROSS,
    "1",
    meaning="share of specular in the sum of both heights",
    formula="max(Hs, σs) / (max(Hs, σs) + max(Hc, σc))",
)
def height_ratio(view: IndicationView) -> float:
    """Bounded form of the ratio: 0.5 for equal heights, near 1 for mirrors, small for scatterers."""
    s, c = view.specular.sure_height_pct, view.scatter.sure_height_pct
    return s / (s + c)


@descriptor(
    _CROSS,
    "dB",
    meaning="specular height over scatter height",
    formula="20 lg(max(Hs, σs) / max(Hc, σc)), within ±30 dB",
)
def height_ratio_db(view: IndicationView) -> float:
    """Below 0 dB for pinholes, 12 dB and more for long flaws."""
    return _ratio_db(view.specular.sure_height_pct, view.scatter.sure_height_pct)


@descriptor(
    _CROSS,
    "dB",
    meaning="specular echo over scatter height, if that echo stood at right angles to the seam's",
    formula="20 lg(√((L + Hs')² − L²) / Hc'), Hs' = max(Hs, σs), Hc' = max(Hc, σc), within ±30 dB",
)
def quadrature_ratio_db(view: IndicationView) -> float:
    """Near 0 dB for holes of every size, whose echoes add to the seam's at about right angles."""
    height = view.specular.sure_height_pct
    echo = math.sqrt(height * (height + 2.0 * view.specular.specular_level_pct))
    return _ratio_db(echo, view.scatter.sure_height_pct)


@descriptor(
    _CROSS,
    "dB",
    meaning="specular area over scatter area",
    formula="20 lg(area of max(es, 0) / area of max(ec, 0)), within ±30 dB",
)
def area_ratio_db(view: IndicationView) -> float:
    """Grows with length even where the heights stay."""
    return _ratio_db(view.specular.area_pct_mm, view.scatter.area_pct_mm)


@descriptor(
    _CROSS,
    "mm",
    meaning="lag of scatter against specular, without sign",
    formula="abs(argmax over lag of Σ es(x) ec(x + lag))",
    for_model=False,
)
def lag_mm(view: IndicationView) -> float:
    """The smallest of several equal ones; 0 when either channel is flat zero."""
    return abs(view.overlaid[0])


@descriptor(
    _CROSS,
    "1",
    meaning="lag of scatter against specular over the beam width",
    formula="abs(argmax over lag of Σ es(x) ec(x + lag)) / b",
)
def lag_beams(view: IndicationView) -> float:
    """Half the length of a flaw when one of its ends scatters far more."""
    return abs(view.overlaid[0]) / view.beam_mm


@descriptor(
    _CROSS,
    "1",
    meaning="likeness of both channels at the best lag",
    formula="max over lag of Σ es(x) ec(x + lag) / √(Σ es² · Σ ec²)",
)
def correlation_at_best_lag(view: IndicationView) -> float:
    """1 when one channel is a shifted, scaled copy of the other; 0 when either is flat zero."""
    return view.overlaid[1]


@descriptor(
    _CROSS,
    "1",
    meaning="what is left of scatter after a scaled copy of specular",
    formula="1 − (Σ es ec)² / (Σ es² · Σ ec²), no lag",
)
def proportional_residual(view: IndicationView) -> float:
    """0 when scatter has the form of specular, 1 when it has nothing of it or is flat zero."""
    s, c = view.specular.excursion_pct, view.scatter.excursion_pct
    energy = float((s @ s) * (c @ c))
    return 1.0 - float(s @ c) ** 2 / energy if energy > 0.0 else 1.0


@descriptor(
    _CROSS,
    "1",
    meaning="how far both channels are from one common change of gain",
    formula="rms(ec − p) / (rms(ec) + rms(p)), p = es · scatter baseline / specular baseline",
)
def common_gain_residual(view: IndicationView) -> float:
    """0 when the head's distance alone explains both, near 1 for flaws; 1 when scatter is flat zero."""
    c = view.scatter.excursion_pct
    predicted = view.specular.excursion_pct * (view.scatter.level_pct / view.specular.specular_level_pct)
    sizes = math.sqrt(float(c @ c)) + math.sqrt(float(predicted @ predicted))
    rest = c - predicted
    return math.sqrt(float(rest @ rest)) / sizes if sizes > 0.0 else 1.0


@descriptor(
    _CROSS,
    "dB",
    meaning="scatter at the ends of the specular plateau over scatter in its middle",
    formula="20 lg(max(mean ec at ends, σc) / max(mean ec in middle, σc)); ends and middle: a quarter beam "
    "around the outer crossings of 0.5 Hs and around their centre",
)
def scatter_ends_over_middle_db(view: IndicationView) -> float:
    """Below 0 dB for pinholes, well above for long flaws."""
    at = view.specular.outer_crossings(0.5)
    ends = (_scatter_near(view, at.left_mm) + _scatter_near(view, at.right_mm)) / 2.0
    middle = _scatter_near(view, (at.left_mm + at.right_mm) / 2.0)
    noise = view.scatter.noise_pct
    return _ratio_db(max(ends, noise), max(middle, noise))


def _scatter_near(view: IndicationView, position_mm: float) -> float:
    """Scatter excursion, linear between samples, averaged over a quarter of the beam."""
    offsets = view.beam_mm * np.array([-0.125, -0.0625, 0.0, 0.0625, 0.125])
    profile = view.scatter
    return float(np.interp(position_mm + offsets, profile.position_mm, profile.excursion_pct).mean())


@descriptor(
    _CROSS,
    "1",
    meaning="scatter at the middle of specular over its own peak",
    formula="clip(ec at the centre of the outer crossings of 0.5 Hs / max(Hc, σc), 0, 1)",
)
def scatter_at_centre(view: IndicationView) -> float:
    """1 for short flaws, near 0 for long ones."""
    at = view.specular.outer_crossings(0.5)
    value = _scatter_near(view, (at.left_mm + at.right_mm) / 2.0) / view.scatter.sure_height_pct
    return float(np.clip(value, 0.0, 1.0))


@descriptor(
    _CROSS,
    "dB",
    meaning="scatter of the stronger half over that of the weaker, without side",
    formula="abs(20 lg(area left / area right)) of max(ec, 0), split at the centre of gravity of specular, "
    "at most 30 dB",
)
def scatter_sides_db(view: IndicationView) -> float:
    """Of two equal ends, the one that the tilted beam looks away from answers 6 to 10 dB more strongly."""
    profile = view.scatter
    x = (profile.extent_mm - view.specular.centre_mm) / profile.pitch_mm
    right_share = np.clip(x + 0.5, 0.0, 1.0)
    right = float(profile.weights_pct @ right_share)
    left = float(profile.weights_pct @ (1.0 - right_share))
    return abs(_ratio_db(left, right))


@descriptor(
    _CROSS,
    "dB",
    meaning="scatter at the stronger end of the specular plateau over that at the weaker, without side",
    formula="abs(20 lg(max(mean ec at left end, σc) / max(mean ec at right end, σc))); ends: a quarter beam "
    "around the outer crossings of 0.5 Hs; at most 30 dB",
)
def scatter_end_ratio_db(view: IndicationView) -> float:
    """Near 0 dB for a pinhole; the tilted beam makes two equal ends differ, whatever their distance."""
    at = view.specular.outer_crossings(0.5)
    noise = view.scatter.noise_pct
    left = max(_scatter_near(view, at.left_mm), noise)
    right = max(_scatter_near(view, at.right_mm), noise)
    return abs(_ratio_db(left, right))


@descriptor(
    _CROSS,
    "1",
    meaning="distance of the scatter peak from the middle of specular, over half its width",
    formula="abs(peak of ec − centre of the outer crossings of 0.5 Hs) / (half their distance), at most 3",
)
def peak_offset(view: IndicationView) -> float:
    """0 for a pinhole, near 1 when scatter shows an end; 0 when specular has no width."""
    at = view.specular.outer_crossings(0.5)
    if at.width_mm <= 0.0:
        return 0.0
    peak_mm = float(view.scatter.position_mm[view.scatter.peak])
    return min(abs(peak_mm - (at.left_mm + at.right_mm) / 2.0) / (at.width_mm / 2.0), 3.0)


@descriptor(
    _CROSS,
    "1",
    meaning="distance of the centres of gravity of both channels over the beam width",
    formula="abs(centre of max(es, 0) − centre of max(ec, 0)) / b",
)
def centre_offset(view: IndicationView) -> float:
    """Grows with length, as one end scatters more."""
    return abs(view.specular.centre_mm - view.scatter.centre_mm) / view.beam_mm


@descriptor(
    _CROSS,
    "dB",
    meaning="spread of scatter over spread of specular",
    formula="20 lg √(m2 of scatter / m2 of specular), within ±30 dB",
)
def spread_ratio_db(view: IndicationView) -> float:
    """Above 0 dB when scatter sits at the ends."""
    return _ratio_db(math.sqrt(view.scatter.moments[0]), math.sqrt(view.specular.moments[0]))


@descriptor(
    _CROSS,
    "1",
    meaning="outer width of scatter over that of specular",
    formula="outer widths at 0.5 H, scatter / specular, at most 5",
)
def width_ratio(view: IndicationView) -> float:
    """About 1 for short and long flaws, below 1 where one end scatters alone; 0 without width."""
    width = view.specular.outer_crossings(0.5).width_mm
    return min(view.scatter.outer_crossings(0.5).width_mm / width, 5.0) if width > 0.0 else 0.0

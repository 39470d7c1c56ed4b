"""Width descriptors: how long along the seam, in mm and in beam widths.

Whatever is shorter than the beam looks one beam wide; the excess over the beam
width is what tells a length. Widths over the beam width carry over between heads
and recipes and go to the model; the same in mm is for people.
"""

from __future__ import annotations

import math

from seamtell.features.descriptors.definition import Family, descriptor, per_channel
from seamtell.features.descriptors.profile import IndicationView, Profile

__all__ = [
    "area_db",
    "area_pct_mm",
    "equivalent_width_beams",
    "equivalent_width_mm",
    "extent_beams",
    "extent_mm",
    "fwhm_beams",
    "fwhm_mm",
    "hump_separation",
    "hump_separation_beams",
    "outer_width_beams",
    "rms_width_beams",
    "tail_ratio",
    "width_10_mm",
    "width_90_mm",
]

_WIDTH = Family.WIDTH


@per_channel(
    _WIDTH,
    "mm",
    meaning="full width at half maximum",
    formula="distance between the first crossings of 0.5 H to either side of the peak",
    for_model=False,
)
def fwhm_mm(profile: Profile) -> float:
    """2.3548 standard deviations for a Gaussian."""
    return profile.crossings(0.5).width_mm


@per_channel(
    _WIDTH,
    "mm",
    meaning="width at 10 % of the height",
    formula="distance between the first crossings of 0.1 H to either side of the peak",
    for_model=False,
)
def width_10_mm(profile: Profile) -> float:
    """4.292 standard deviations for a Gaussian."""
    return profile.crossings(0.1).width_mm


@per_channel(
    _WIDTH,
    "mm",
    meaning="width at 90 % of the height",
    formula="distance between the first crossings of 0.9 H to either side of the peak",
    for_model=False,
)
def width_90_mm(profile: Profile) -> float:
    """0.918 standard deviations for a Gaussian."""
    return profile.crossings(0.9).width_mm


@per_channel(_WIDTH, "1", meaning="full width at half maximum over the beam width", formula="FWHM / b")
def fwhm_beams(profile: Profile) -> float:
    """1 for whatever is much shorter than the beam."""
    return profile.crossings(0.5).width_mm / profile.beam_mm


@per_channel(
    _WIDTH,
    "1",
    meaning="width between the outermost half-height points over the beam width",
    formula="distance between the first and last crossing of 0.5 H in the extent / b",
)
def outer_width_beams(profile: Profile) -> float:
    """Unlike the FWHM it spans several humps."""
    return profile.outer_crossings(0.5).width_mm / profile.beam_mm


@per_channel(
    _WIDTH,
    "mm",
    meaning="equivalent width",
    formula="area / max(H, σ), area of max(e, 0) in the extent",
    for_model=False,
)
def equivalent_width_mm(profile: Profile) -> float:
    """Length of a box of the same height and area."""
    return profile.area_pct_mm / profile.sure_height_pct


@per_channel(_WIDTH, "1", meaning="equivalent width over the beam width", formula="area / (max(H, σ) b)")
def equivalent_width_beams(profile: Profile) -> float:
    """1.06 for a Gaussian as wide as the beam."""
    return profile.area_pct_mm / profile.sure_height_pct / profile.beam_mm


@per_channel(_WIDTH, "1", meaning="spread about the centre over the beam width", formula="2.3548 √m2 / b")
def rms_width_beams(profile: Profile) -> float:
    """1 for a Gaussian as wide as the beam, more for two ends far apart."""
    return math.sqrt(8.0 * math.log(2.0) * profile.moments[0]) / profile.beam_mm


@per_channel(
    _WIDTH,
    "1",
    meaning="width at the foot over width at half height",
    formula="outer width at 0.2 H / outer width at 0.5 H",
)
def tail_ratio(profile: Profile) -> float:
    """1.52 for a Gaussian, near 1 for steep edges; 1 when there is no width."""
    half = profile.outer_crossings(0.5).width_mm
    return profile.outer_crossings(0.2).width_mm / half if half > 0.0 else 1.0


@per_channel(
    _WIDTH,
    "% FSH mm",
    meaning="area under the excursion",
    formula="Σ max(e, 0) · pitch in the extent",
    gain="follows",
)
def area_pct_mm(profile: Profile) -> float:
    """Follows the reflecting area of small flaws."""
    return profile.area_pct_mm


@per_channel(
    _WIDTH,
    "dB",
    meaning="area over a hump as high as the sound seam and as wide as the beam",
    formula="20 lg(max(area, σ b) / (L b))",
)
def area_db(profile: Profile) -> float:
    """Strength times length: of flaws shorter than the beam, all that their size can change."""
    area = max(profile.area_pct_mm, profile.noise_pct * profile.beam_mm)
    return 20.0 * math.log10(area / (profile.specular_level_pct * profile.beam_mm))


@descriptor(_WIDTH, "mm", meaning="length of the indication", formula="end − start", for_model=False)
def extent_mm(view: IndicationView) -> float:
    """Over all channels that show it."""
    return float(view.specular.extent_mm[-1] - view.specular.extent_mm[0])


@descriptor(_WIDTH, "1", meaning="length of the indication over the beam width", formula="(end − start) / b")
def extent_beams(view: IndicationView) -> float:
    """About 1.8 for a strong pinhole."""
    return extent_mm(view) / view.beam_mm


@descriptor(
    _WIDTH,
    "1",
    meaning="distance of the two highest scatter humps over the specular width",
    formula="abs(x1 − x2) / specular outer width at 0.5 H, at most 5; 0 if fewer than two",
)
def hump_separation(view: IndicationView) -> float:
    """Near 1 when scatter shows the two ends of what specular shows as one plateau."""
    pair = view.scatter.humps[:2]
    width = view.specular.outer_crossings(0.5).width_mm
    if len(pair) < 2 or width <= 0.0:
        return 0.0
    return min(abs(pair[0].position_mm - pair[1].position_mm) / width, 5.0)


@descriptor(
    _WIDTH,
    "1",
    meaning="distance of the two highest scatter humps over the beam width",
    formula="abs(x1 − x2) / b, at most 20; 0 if fewer than two",
)
def hump_separation_beams(view: IndicationView) -> float:
    """The length between the ends of a flaw, even where specular is one beam wide."""
    pair = view.scatter.humps[:2]
    if len(pair) < 2:
        return 0.0
    return min(abs(pair[0].position_mm - pair[1].position_mm) / view.beam_mm, 20.0)

"""Context descriptors: where the indication sits and in what surroundings.

Most of them tell the line, the recipe or the day rather than the flaw. Those are
shown to people and kept from the model, which would otherwise learn that one line
makes more pinholes and call it physics.
"""

from __future__ import annotations

import math

from seamtell.features.descriptors.definition import Family, descriptor, per_channel
from seamtell.features.descriptors.profile import IndicationView, Profile

__all__ = [
    "baseline_level_pct",
    "end_distance_beams",
    "end_distance_mm",
    "neighbours",
    "noise_pct",
    "thickness_ratio",
    "undershoot",
]

_CONTEXT = Family.CONTEXT
_NEAR_BEAMS = 5.0
_FAR_BEAMS = 10.0


@per_channel(
    _CONTEXT,
    "% FSH",
    meaning="baseline level at the indication",
    formula="mean of the baseline in the extent",
    gain="follows",
    for_model=False,
)
def baseline_level_pct(profile: Profile) -> float:
    """What the sound seam gives there."""
    return profile.level_pct


@per_channel(
    _CONTEXT,
    "% FSH",
    meaning="noise of single samples",
    formula="σ = 1.4826 median(baseline − a, where ≥ 0)",
    gain="follows",
    for_model=False,
)
def noise_pct(profile: Profile) -> float:
    """Of the whole seam, not below its floor."""
    return profile.noise_pct


@per_channel(
    _CONTEXT,
    "1",
    meaning="dip below the baseline beside or in the indication",
    formula="max(0, −min e in the window) / L",
)
def undershoot(profile: Profile) -> float:
    """Echoes of flaw and seam add by phase, so some small flaws lower specular beside them."""
    return max(0.0, -float(profile.excursion_pct.min())) / profile.specular_level_pct


@descriptor(
    _CONTEXT,
    "mm",
    meaning="distance from the extent to the nearer end of the seam",
    formula="min(start − seam start, seam end − end)",
    for_model=False,
)
def end_distance_mm(view: IndicationView) -> float:
    """Run-in and run-out raise false indications near the ends."""
    return view.end_distance_mm


@descriptor(
    _CONTEXT,
    "1",
    meaning="distance to the nearer end over the beam width, up to 10",
    formula="min(min(start − seam start, seam end − end) / b, 10)",
)
def end_distance_beams(view: IndicationView) -> float:
    """Cut off, so that it does not tell the length of the seam."""
    return min(view.end_distance_mm / view.beam_mm, _FAR_BEAMS)


@descriptor(
    _CONTEXT,
    "1",
    meaning="number of other indications within five beam widths",
    formula="count of gaps between extents ≤ 5 b",
)
def neighbours(view: IndicationView) -> float:
    """Porosity comes in rows."""
    return float(sum(gap <= _NEAR_BEAMS * view.beam_mm for gap in view.neighbour_gaps_mm))


@descriptor(
    _CONTEXT,
    "1",
    meaning="thinner sheet over thicker sheet",
    formula="min(hA, hB) / max(hA, hB); 1 when unknown",
    for_model=False,
)
def thickness_ratio(view: IndicationView) -> float:
    """Sets the level of the sound seam; names the recipe."""
    thin, thick = sorted((view.thickness_a_mm, view.thickness_b_mm))
    known = math.isfinite(thin) and math.isfinite(thick) and thin > 0.0
    return thin / thick if known else 1.0

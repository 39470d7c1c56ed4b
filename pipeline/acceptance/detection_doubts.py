"""What may not be concluded from hits and misses, each doubt with its reason in words.

References
----------
MIL-HDBK-1823A (2009), *Nondestructive evaluation system reliability assessment*, and
ASTM E2862 (hit/miss data): sizes from POD near 3 % to near 97 % (from memory).
ENIQ report 41 (2010): a hit/miss fit wants 60 or more sized flaws (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.curve_fit import slope_p
from seamtell.pipeline.acceptance.hit_miss_likelihood import Floats, HitMissData, HitMissFit, probability
from seamtell.pipeline.acceptance.levelling_off import LevellingOff

__all__ = ["FEW_SIZED_FLAWS", "Concern", "Doubt", "doubts_of_data", "doubts_of_fit", "refusal_of_fit"]

FEW_SIZED_FLAWS = 60
_FEWEST = 5
_LOW_POD, _HIGH_POD = 0.03, 0.97
_SIGNIFICANT = 0.05


class Doubt(StrEnum):
    """Why a curve, or a size read from it, is not to be had or not to be trusted."""

    TOO_FEW = "too_few"
    ONE_SIZE = "one_size"
    NO_MISSES = "no_misses"
    NO_HITS = "no_hits"
    SEPARATION = "separation"
    FALLING = "falling"
    WEAK_SLOPE = "weak_slope"
    FEW_FLAWS = "few_flaws"
    NO_SMALL_FLAWS = "no_small_flaws"
    NO_LARGE_FLAWS = "no_large_flaws"
    ASYMPTOTE = "asymptote_below_one"
    POOR_FIT = "poor_fit"
    NOT_CONVERGED = "not_converged"
    OUTSIDE_SIZES = "outside_sizes"
    BOUND_NOT_REACHED = "bound_not_reached"


@dataclass(frozen=True)
class Concern:
    """One doubt in words; a refusal takes the figures away, a warning stands beside them."""

    doubt: Doubt
    text: str
    refusal: bool


def doubts_of_data(sizes_mm: Floats, hits: NDArray[np.bool_]) -> Concern | None:
    """Why nothing can be fitted at all; None when a fit may be tried."""
    n = len(sizes_mm)
    if n < _FEWEST:
        return Concern(Doubt.TOO_FEW, f"{n} sized flaws; a curve needs at least {_FEWEST}", True)
    if hits.all():
        text = f"none of {n} flaws was missed: the sample holds no flaw small enough to be missed, add some"
        return Concern(Doubt.NO_MISSES, text, True)
    if not hits.any():
        return Concern(Doubt.NO_HITS, f"all of {n} flaws were missed: there is no curve to fit", True)
    if len(np.unique(sizes_mm)) < 2:
        return Concern(Doubt.ONE_SIZE, "all flaws have one size: nothing can be said of others", True)
    return None


def refusal_of_fit(fit: HitMissFit, levelling: LevellingOff | None) -> Concern | None:
    """Why a fit is no curve of detection; None when it may be shown."""
    if fit.slope <= 0:
        text = "detection falls or stays with size: size does not explain the misses"
        return Concern(Doubt.FALLING, text, True)
    if not fit.converged:
        return Concern(Doubt.NOT_CONVERGED, "the fit did not settle: there is no curve to rely on", True)
    if levelling is not None and levelling.p < _SIGNIFICANT:
        text = (
            f"even large flaws are missed: detection levels off at about {levelling.top:.2f} "
            f"(p = {levelling.p:.3f}), so a curve that rises to one, and sizes read from it, do not hold"
        )
        return Concern(Doubt.ASYMPTOTE, text, True)
    return None


def doubts_of_fit(
    sizes_mm: Floats, data: HitMissData, fit: HitMissFit, fit_p: float | None
) -> tuple[Concern, ...]:
    """Warnings that stand beside a curve."""
    found = []
    if fit.penalised:
        text = (
            "hits and misses do not overlap in size (separation): fitted with the penalised likelihood "
            "(Firth); slope, a90 and a90/95 rest on the penalty, not on the data alone"
        )
        found.append((Doubt.SEPARATION, text))
    n = len(sizes_mm)
    if n < FEW_SIZED_FLAWS:
        text = f"{n} sized flaws, below {FEW_SIZED_FLAWS}: a90/95 moves much with single sections"
        found.append((Doubt.FEW_FLAWS, text))
    low, high = probability(fit.link, fit.intercept + fit.slope * np.log([sizes_mm.min(), sizes_mm.max()]))
    if low > _LOW_POD:
        text = f"the smallest flaw cut already has POD {low:.2f}; cut smaller ones (POD near {_LOW_POD})"
        found.append((Doubt.NO_SMALL_FLAWS, text))
    if high < _HIGH_POD:
        text = f"the largest flaw cut has POD {high:.2f} only; cut larger ones (POD near {_HIGH_POD})"
        found.append((Doubt.NO_LARGE_FLAWS, text))
    weak = 1.0 if fit.penalised else slope_p(data, fit)
    if not fit.penalised and weak > _SIGNIFICANT:
        text = f"detection hardly rises with size (p = {weak:.2f}): size may not explain the misses"
        found.append((Doubt.WEAK_SLOPE, text))
    if fit_p is not None and fit_p < _SIGNIFICANT:
        found.append((Doubt.POOR_FIT, f"the curve fits badly (p = {fit_p:.3f}): read the points"))
    return tuple(Concern(doubt, text, False) for doubt, text in found)

"""Probability of detection over flaw size, from hits and misses, with what may not be concluded.

The curve is logit or probit in the log of the size; its lower bound and a90/95 come from
the profile likelihood: at each size the least probability that the data do not
contradict, the slope free. Where the data cannot carry a curve or an a90/95, the result
says so and why, instead of printing a number.

References
----------
MIL-HDBK-1823A (2009), *Nondestructive evaluation system reliability assessment*, and
ASTM E2862 (hit/miss data): the method (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.contour_bound import trace_contour
from seamtell.pipeline.acceptance.curve_fit import goodness_of_fit_p
from seamtell.pipeline.acceptance.detection_bound import lower_bounds, size_at_bound
from seamtell.pipeline.acceptance.detection_doubts import (
    Concern,
    Doubt,
    doubts_of_data,
    doubts_of_fit,
    refusal_of_fit,
)
from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    Floats,
    HitMissData,
    HitMissFit,
    Link,
    fit_hit_miss,
    linear_predictor,
    probability,
    separated,
)
from seamtell.pipeline.acceptance.levelling_off import LevellingOff, asymptote
from seamtell.pipeline.errors import BadInput

__all__ = ["CONFIDENCE", "Concern", "DetectionCurve", "Doubt", "Link", "fit_detection"]

CONFIDENCE = 0.95
"""One-sided, of every lower bound."""

_GRID = 61


@dataclass(frozen=True, eq=False)
class DetectionCurve:
    """A fitted curve with its lower bound, or the reasons why there is none.

    Parameters
    ----------
    link : Link
    sections, hits : int
    penalised : bool
        Fitted with the penalised likelihood, because hits and misses do not overlap.
    intercept, slope : float or None
        Of the linear predictor over the natural log of the size in mm.
    a50_mm, a90_mm : float or None
        None also where the size lies outside the flaws that were cut.
    a90_95_mm : float or None
        Size from which the one-sided 95 % lower bound is at least 0.90; the smallest flaw
        cut where the bound is that high already.
    sizes_mm, pod, pod_low : float arrays of shape (m,)
        The curve and its one-sided 95 % lower bound, size by size; empty without a curve.
    fit_p : float or None
        Goodness of fit: p-value of the spread over size groups.
    asymptote : float or None
        Highest POD of the three-parameter curve, where it was fitted.
    asymptote_p : float or None
        p-value of an asymptote of one.
    concerns : tuple of Concern
    """

    link: Link
    sections: int
    hits: int
    penalised: bool
    intercept: float | None
    slope: float | None
    a50_mm: float | None
    a90_mm: float | None
    a90_95_mm: float | None
    sizes_mm: Floats
    pod: Floats
    pod_low: Floats
    fit_p: float | None
    asymptote: float | None
    asymptote_p: float | None
    concerns: tuple[Concern, ...]

    @property
    def refused(self) -> bool:
        """Whether the data carry no curve at all."""
        return self.slope is None


def fit_detection(sizes_mm: Floats, hits: NDArray[np.bool_], link: Link = Link.LOGIT) -> DetectionCurve:
    """Fit the curve of one class and one way to detect.

    Parameters
    ----------
    sizes_mm : float array of shape (n,)
        Measured by the section; above zero.
    hits : bool array of shape (n,)

    Raises
    ------
    BadInput
        A size is not a finite number above zero, or shapes differ.

    Notes
    -----
    About one sample in twenty gives an a90/95 that is too small; that is what 95 % means, and
    samples that give none count as right. Where the largest flaws cut only just reach a POD of
    97 %, few samples of 60 give one at all, and the lucky ones are among them: of those given,
    more than one in twenty is too small (simulated: about one in six). Larger flaws cure it.
    """
    sizes, outcome = np.asarray(sizes_mm, dtype=np.float64), np.asarray(hits, dtype=bool)
    if sizes.shape != outcome.shape or sizes.ndim != 1:
        raise BadInput(f"got {sizes.shape} sizes and {outcome.shape} outcomes, expected as many, in one row")
    if not (np.isfinite(sizes) & (sizes > 0)).all():
        raise BadInput("a flaw size is not a finite number above zero", do="leave sections without size out")
    refusal = doubts_of_data(sizes, outcome)
    if refusal is not None:
        return _no_curve(link, outcome, refusal)
    data = HitMissData(np.log(sizes), outcome)
    fit = fit_hit_miss(data, link, penalised=separated(data))
    levelling = None if fit.penalised else asymptote(data, fit)
    refusal = refusal_of_fit(fit, levelling)
    if refusal is not None:
        return _no_curve(link, outcome, refusal, penalised=fit.penalised, levelling=levelling)
    return _curve(sizes, data, fit, levelling)


def _curve(
    sizes: Floats, data: HitMissData, fit: HitMissFit, levelling: LevellingOff | None
) -> DetectionCurve:
    within = (float(sizes.min()), float(sizes.max()))
    fit_p = goodness_of_fit_p(data, fit)
    sizes_read = {pod: _size_at(fit, pod) for pod in (0.5, 0.9)}
    grid = np.geomspace(*within, _GRID)
    log_grid = np.log(grid)
    if fit.penalised:
        contour = trace_contour(data, fit, CONFIDENCE)
        pod_low, a90_95 = contour.lower_bounds(log_grid), contour.size_at_bound(0.9, within)
    else:
        pod_low = lower_bounds(data, fit, log_grid, CONFIDENCE)
        a90_95 = size_at_bound(data, fit, 0.9, CONFIDENCE, within)
    return DetectionCurve(
        link=fit.link,
        sections=len(sizes),
        hits=int(data.hit.sum()),
        penalised=fit.penalised,
        intercept=fit.intercept,
        slope=fit.slope,
        a50_mm=_if_within(sizes_read[0.5], within),
        a90_mm=_if_within(sizes_read[0.9], within),
        a90_95_mm=a90_95,
        sizes_mm=grid,
        pod=probability(fit.link, fit.intercept + fit.slope * log_grid),
        pod_low=pod_low,
        fit_p=fit_p,
        asymptote=None if levelling is None else levelling.top,
        asymptote_p=None if levelling is None else levelling.p,
        concerns=(*doubts_of_fit(sizes, data, fit, fit_p), *_not_read(sizes_read, a90_95, within)),
    )


def _size_at(fit: HitMissFit, pod: float) -> float:
    """Size in mm where the curve reaches `pod`; infinite where that is beyond all numbers."""
    log_size = (linear_predictor(fit.link, pod) - fit.intercept) / fit.slope
    return float(np.exp(np.clip(log_size, -700.0, 700.0)))


def _if_within(size_mm: float, within_mm: tuple[float, float]) -> float | None:
    return size_mm if within_mm[0] <= size_mm <= within_mm[1] else None


def _not_read(
    sizes_read: dict[float, float], a90_95: float | None, within_mm: tuple[float, float]
) -> tuple[Concern, ...]:
    """Sizes that are not given because they lie outside the flaws that were cut."""
    found = []
    smallest, largest = within_mm
    for pod, size in sizes_read.items():
        if _if_within(size, within_mm) is None:
            side = (
                f"below the smallest ({smallest:.2g} mm)"
                if size < smallest
                else f"above the largest ({largest:.2g} mm)"
            )
            text = f"the curve reaches {pod:.2f} {side} flaw cut: a{100 * pod:.0f} is not given"
            found.append(Concern(Doubt.OUTSIDE_SIZES, text, True))
    if a90_95 is None:
        text = f"the lower bound does not reach 0.90 within the sizes cut (up to {largest:.2g} mm): no a90/95"
        found.append(Concern(Doubt.BOUND_NOT_REACHED, text, True))
    elif a90_95 <= smallest:
        text = f"even at {smallest:.2g} mm, the smallest flaw cut, the lower bound is above 0.90"
        found.append(Concern(Doubt.OUTSIDE_SIZES, text, False))
    return tuple(found)


def _no_curve(
    link: Link,
    outcome: NDArray[np.bool_],
    refusal: Concern,
    *,
    penalised: bool = False,
    levelling: LevellingOff | None = None,
) -> DetectionCurve:
    none = np.zeros(0)
    return DetectionCurve(
        link=link,
        sections=len(outcome),
        hits=int(outcome.sum()),
        penalised=penalised,
        intercept=None,
        slope=None,
        a50_mm=None,
        a90_mm=None,
        a90_95_mm=None,
        sizes_mm=none,
        pod=none,
        pod_low=none,
        fit_p=None,
        asymptote=None if levelling is None else levelling.top,
        asymptote_p=None if levelling is None else levelling.p,
        concerns=(refusal,),
    )

"""One-sided bounds of a hit/miss curve fitted with the penalised likelihood.

The curves that the data do not contradict are those whose penalised likelihood is not too
far below the best: a patch in the plane of intercept and slope. The lower bound at a size
is the lowest of these curves there. The patch is walked slope by slope, since the
penalised likelihood can have two tops along a line and a climb may end on the lower one.

References
----------
Heinze, G. and Schemper, M. (2002). A solution to the problem of separation in
logistic regression. Statistics in Medicine 21, 2409-2419: penalised profile likelihood.
MIL-HDBK-1823A (2009): bounds from the contour of the likelihood (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    Floats,
    HitMissData,
    HitMissFit,
    linear_predictor,
    log_likelihoods,
    probability,
)

__all__ = ["Contour", "trace_contour"]

_COARSE, _FINE, _ACROSS = 49, 120, 41
_LEAST_SLOPE, _MOST_SLOPE = -4.0, 8.0
"""Inverse hyperbolic sines of the standardised slope."""

_HALVINGS, _CLIMBS = 26, 12
_MARGIN_ETA = 12.0


@dataclass(frozen=True, eq=False)
class Contour:
    """The lower edge of the patch: per slope the least linear predictor at one log size, shape (m,) each."""

    fit: HitMissFit
    at_log_size: float
    slopes: Floats
    least_eta: Floats

    def lower_bounds(self, log_sizes: Floats) -> Floats:
        """Least probability at each of the log sizes, shape (k,) both."""
        eta = self.least_eta + self.slopes * (log_sizes[:, None] - self.at_log_size)
        return probability(self.fit.link, eta.min(axis=1))

    def size_at_bound(self, pod: float, within_mm: tuple[float, float]) -> float | None:
        """Smallest size in a range from which the bound is at or above `pod`; None when it is not."""
        if (self.slopes <= 0).any():
            return None  # A flat curve is not contradicted: the bound does not rise for good.
        eta = linear_predictor(self.fit.link, pod)
        reached = float((self.at_log_size + (eta - self.least_eta) / self.slopes).max())
        low, high = np.log(within_mm)
        return None if reached > high else float(np.exp(max(reached, low)))


def trace_contour(data: HitMissData, fit: HitMissFit, confidence: float) -> Contour:
    """Walk the patch of curves that a one-sided `confidence` leaves."""
    from scipy.special import ndtri

    level = fit.log_likelihood - float(ndtri(confidence)) ** 2 / 2
    walk = _Walk(data, fit, level)
    coarse = np.linspace(_LEAST_SLOPE, _MOST_SLOPE, _COARSE)
    inside = np.flatnonzero(walk.tops(np.sinh(coarse) / walk.spread)[1] >= level)
    own = float(np.arcsinh(fit.slope * walk.spread))
    ends = [own, *coarse[np.maximum(inside - 1, 0)], *coarse[np.minimum(inside + 1, _COARSE - 1)]]
    steps = np.sort(np.append(np.linspace(min(ends), max(ends), _FINE), own))
    slopes, least = walk.least_etas(np.sinh(steps) / walk.spread)
    return Contour(fit, walk.middle, slopes, least)


class _Walk:
    """Across the patch at fixed slopes; the curve is placed by its height amid hits and misses."""

    def __init__(self, data: HitMissData, fit: HitMissFit, level: float) -> None:
        self.data, self.fit, self.level = data, fit, level
        hits, misses = data.log_size[data.hit], data.log_size[~data.hit]
        edges = np.array([misses.max(), hits.min()])
        self.middle, self.half_gap = float(edges.mean()), float(np.abs(np.diff(edges)[0])) / 2
        self.spread = float(data.log_size.std())

    def height(self, slopes: Floats, etas: Floats) -> Floats:
        """Penalised log-likelihood, slope and height at the middle given; any like shapes."""
        eta = etas[..., None] + slopes[..., None] * (self.data.log_size - self.middle)
        return log_likelihoods(self.data, self.fit.link, eta, penalised=True)

    def tops(self, slopes: Floats) -> tuple[Floats, Floats, Floats]:
        """Best height on a grid across each slope, its likelihood, and half the width looked at."""
        reach = np.abs(slopes) * self.half_gap + _MARGIN_ETA
        across = reach[:, None] * np.linspace(-1, 1, _ACROSS)
        own = self.fit.at(self.middle)
        across = np.concatenate([across, np.full((len(slopes), 1), own)], axis=1)
        heights = self.height(np.broadcast_to(slopes[:, None], across.shape), across)
        best = heights.argmax(axis=1)
        rows = np.arange(len(slopes))
        return across[rows, best], heights[rows, best], reach

    def least_etas(self, slopes: Floats) -> tuple[Floats, Floats]:
        """The slopes that touch the patch, and the lower edge of the patch on each."""
        top, height, reach = self.tops(slopes)
        top, height = self._climbed(slopes, top, height, 2 * reach / (_ACROSS - 1))
        touching = height >= self.level
        slopes, high = slopes[touching], top[touching]
        low = high - 2 * reach[touching] - _MARGIN_ETA
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            within = self.height(slopes, middle) >= self.level
            low, high = np.where(within, low, middle), np.where(within, middle, high)
        return slopes, high

    def _climbed(self, slopes: Floats, top: Floats, height: Floats, step: Floats) -> tuple[Floats, Floats]:
        """Finer and finer steps from the best grid point."""
        for _ in range(_CLIMBS):
            for side in (-1.0, 1.0):
                there = top + side * step
                value = self.height(slopes, there)
                top, height = np.where(value > height, there, top), np.maximum(value, height)
            step = step / 2
        return top, height

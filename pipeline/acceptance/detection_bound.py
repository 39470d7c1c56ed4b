"""One-sided bounds of a hit/miss curve from its profile likelihood, right for small samples.

At one size the curve is held to a probability and the slope left free; the signed root of
twice the drop of the log-likelihood is then near to normal. In small samples it is off, and
on the bold side, so the root is corrected (``r*``) in Skovgaard's way, which needs only the
covariances of the scores under the fitted curve. For the logit that is
Barndorff-Nielsen's own. The lattice error of binary outcomes is left; it is small where the
sizes differ.

With separation there is no finite maximum to correct at: see `contour_bound`.

References
----------
Barndorff-Nielsen, O. E. (1986). Inference on full or partial parameters based on the
standardized signed log likelihood ratio. Biometrika 73, 307-322.
Skovgaard, I. M. (1996). An explicit large-deviation approximation to one-parameter tests.
Bernoulli 2, 145-165.
Davison, A. C., Fraser, D. A. S. and Reid, N. (2006). Improved likelihood inference for
discrete data. Journal of the Royal Statistical Society B 68, 495-508.
Pierce, D. A. and Bellio, R. (2017). Modern likelihood-frequentist inference.
International Statistical Review 85, 519-541.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    Floats,
    HitMissData,
    HitMissFit,
    Link,
    derivatives,
    linear_predictor,
    log_likelihoods,
    probability,
)

__all__ = ["lower_bounds", "signed_roots", "size_at_bound"]

_LEAST_ROOT = 0.05
"""Nearer to the curve the correction is a quotient of two zeros, and of no weight."""

_NO_DETECTION = 1e-4
"""A lower bound below this is given as zero: it is of no use, and far out it costs most."""

_ROOT_TOLERANCE = 1e-6
_SLOPE_TOLERANCE = 1e-8
_MOST_ROUNDS = 60
_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2 * np.pi))


def lower_bounds(data: HitMissData, fit: HitMissFit, log_sizes: Floats, confidence: float) -> Floats:
    """Least probability at each size that the data do not contradict, one-sided.

    Parameters
    ----------
    fit : HitMissFit
        Without penalty.
    log_sizes : float array of shape (k,)

    Returns
    -------
    float array of shape (k,)
        Zero where the bound is below 0.0001.
    """
    wanted = _wanted_root(confidence)
    best = fit.intercept + fit.slope * log_sizes

    def excess(eta: Floats) -> Floats:
        return signed_roots(data, fit, log_sizes, eta) - wanted

    step = wanted * _standard_errors(data, fit, log_sizes)
    high, low = best, best - step
    above = excess(low)
    at_high = np.full_like(best, -wanted)
    for _ in range(_MOST_ROUNDS):
        open_rows = (above <= 0) & (probability(fit.link, low) > _NO_DETECTION)
        if not open_rows.any():
            break
        step = np.where(open_rows, 1.5 * step, step)
        high, at_high = np.where(open_rows, low, high), np.where(open_rows, above, at_high)
        low = np.where(open_rows, low - step, low)
        above = np.where(open_rows, excess(low), above)
    found = above > 0
    eta = _crossings(excess, low, high, above, at_high)
    pod = probability(fit.link, eta)
    return np.where(found & (pod > _NO_DETECTION), pod, 0.0)


def size_at_bound(
    data: HitMissData, fit: HitMissFit, pod: float, confidence: float, within_mm: tuple[float, float]
) -> float | None:
    """Smallest size from which the lower bound is at or above `pod`; None when it does not get there.

    Only sizes in `within_mm` are looked at: a curve says nothing beyond the flaws that were cut.
    """
    from scipy.optimize import brentq

    eta, wanted = linear_predictor(fit.link, pod), _wanted_root(confidence)

    def excess(log_size: float) -> float:
        return float(signed_roots(data, fit, np.array([log_size]), np.array([eta]))[0]) - wanted

    # Below the size where the curve itself reaches `pod` no lower bound does.
    low = max((eta - fit.intercept) / fit.slope, float(np.log(within_mm[0])))
    high = float(np.log(within_mm[1]))
    if high <= low or excess(high) < 0:
        return None
    if excess(low) >= 0:
        return float(np.exp(low))
    return float(np.exp(brentq(excess, low, high, xtol=1e-7)))


def signed_roots(
    data: HitMissData, fit: HitMissFit, log_sizes: Floats, etas: Floats, *, corrected: bool = True
) -> Floats:
    """Signed root of the likelihood ratio of "the curve is at `eta` at this size", for many of them.

    Parameters
    ----------
    fit : HitMissFit
        Without penalty.
    log_sizes, etas : float arrays of shape (k,)
    corrected : bool
        With Skovgaard's correction.

    Returns
    -------
    float array of shape (k,)
        Above zero where the fitted curve lies above `eta`; near to standard normal where
        the true curve is at `eta`.
    """
    away = data.log_size - log_sizes[:, None]
    held = etas[:, None] + _profile_slopes(data, fit, away, etas)[:, None] * away
    drop = fit.log_likelihood - log_likelihoods(data, fit.link, held, penalised=False)
    above = fit.intercept + fit.slope * log_sizes - etas
    root = np.sign(above) * np.sqrt(np.maximum(2 * drop, 0.0))
    if not corrected:
        return root
    clear = np.abs(root) >= _LEAST_ROOT
    safe_root = np.where(clear, root, 1.0)
    ratio = _skovgaard(data, fit, away, held) / safe_root
    usable = clear & (ratio > 0) & np.isfinite(ratio)
    modified = root + np.log(np.where(usable, ratio, 1.0)) / safe_root
    return np.asarray(np.where(usable, modified, root), dtype=np.float64)


def _profile_slopes(data: HitMissData, fit: HitMissFit, away: Floats, etas: Floats) -> Floats:
    """The best slope of each curve held to `etas` where `away` is zero, shape (k,).

    The log-likelihood is concave in the slope, so its derivative falls and a Newton step that
    leaves the bracket is replaced by bisection.
    """
    spread = float(data.log_size.std())
    slope = np.full(len(etas), fit.slope)
    low, high = np.full(len(etas), -np.inf), np.full(len(etas), np.inf)
    for _ in range(_MOST_ROUNDS):
        each = derivatives(fit.link, etas[:, None] + slope[:, None] * away, data.hit)
        rise = (each.slope * away).sum(axis=1)
        bend = (each.information * away**2).sum(axis=1)
        low, high = np.where(rise > 0, slope, low), np.where(rise > 0, high, slope)
        reach = 5.0 / spread + np.abs(slope)
        there = slope + np.clip(rise / np.maximum(bend, 1e-12), -reach, reach)
        closed = np.isfinite(low) & np.isfinite(high)
        middle = np.where(closed, (np.where(closed, low, 0) + np.where(closed, high, 0)) / 2, there)
        there = np.where((there >= low) & (there <= high), there, middle)
        moved = np.abs(there - slope)
        slope = there
        if (moved * spread <= _SLOPE_TOLERANCE * (1 + np.abs(slope) * spread)).all():
            break
    return slope


def _skovgaard(data: HitMissData, fit: HitMissFit, away: Floats, held: Floats) -> Floats:
    """What takes the place of Wald's statistic in the correction, shape (k,); NaN where there is none.

    The parameters are the linear predictor at the size (of interest) and the slope (nuisance).
    """
    free = fit.intercept + fit.slope * data.log_size
    score_free, odds_free, spread = _per_outcome(fit.link, free)
    score_held, odds_held, _ = _per_outcome(fit.link, held)
    observed = derivatives(fit.link, free, data.hit).information
    nuisance = (derivatives(fit.link, held, data.hit).information * away**2).sum(axis=1)
    expected = _determinant(spread * score_free**2, away)
    weight = spread * score_free * score_held
    # First row of the inverse of the covariance of the scores, times its determinant.
    drop = spread * score_free * (odds_free - odds_held)
    solved = (weight * away**2).sum(axis=1) * drop.sum(axis=1)
    solved -= (weight * away).sum(axis=1) * (drop * away).sum(axis=1)
    usable = (nuisance > 0) & (expected > 0)
    nuisance, expected = np.where(usable, nuisance, 1.0), np.where(usable, expected, 1.0)
    statistic = solved / expected * np.sqrt(_determinant(observed, away) / nuisance)
    return np.where(usable, statistic, np.nan)


def _determinant(weight: Floats, away: Floats) -> Floats:
    """Of the weighted sums of squares and products of (1, away), over the last axis."""
    total = weight.sum(axis=-1, keepdims=True)
    centre = (weight * away).sum(axis=-1, keepdims=True) / np.maximum(total, 1e-300)
    return np.asarray(total[..., 0] * (weight * (away - centre) ** 2).sum(axis=-1), dtype=np.float64)


def _per_outcome(link: Link, eta: Floats) -> tuple[Floats, Floats, Floats]:
    """Factor of (hit - probability) in the score, log-odds, and variance of the outcome."""
    hit = np.ones(eta.shape, dtype=bool)
    log_hit, log_miss = derivatives(link, eta, hit).value, derivatives(link, eta, ~hit).value
    variance = np.exp(log_hit + log_miss)
    if link is Link.LOGIT:
        return np.ones_like(eta), log_hit - log_miss, variance
    log_density = -0.5 * eta**2 - _LOG_ROOT_TWO_PI
    return np.exp(log_density - log_hit - log_miss), log_hit - log_miss, variance


def _standard_errors(data: HitMissData, fit: HitMissFit, log_sizes: Floats) -> Floats:
    """Of the linear predictor at each size, by the curvature: where to start looking."""
    weight = derivatives(fit.link, fit.intercept + fit.slope * data.log_size, data.hit).information
    centre = (weight * data.log_size).sum() / max(weight.sum(), 1e-300)
    about = (weight * (data.log_size - centre) ** 2).sum()
    variance = 1 / max(weight.sum(), 1e-6) + (log_sizes - centre) ** 2 / max(about, 1e-6)
    return np.asarray(np.clip(np.sqrt(variance), 1e-3, 5.0), dtype=np.float64)


def _crossings(
    excess: Callable[[Floats], Floats], low: Floats, high: Floats, at_low: Floats, at_high: Floats
) -> Floats:
    """Where `excess` goes from above zero at `low` to below at `high`: false position, Illinois."""
    bracketed = at_low > 0
    middle, before = low, np.full(low.shape, -1)
    for _ in range(_MOST_ROUNDS):
        gap = np.where(bracketed, at_low - at_high, 1.0)
        middle = low + (high - low) * np.where(bracketed, at_low / gap, 0.0)
        value = excess(middle)
        if (np.abs(value[bracketed]) <= _ROOT_TOLERANCE).all():
            break
        left = value > 0
        # An end that stays put twice is halved in weight, or it would never move.
        weight = np.where(left == before, 0.5, 1.0)
        at_low, at_high = np.where(left, value, weight * at_low), np.where(left, weight * at_high, value)
        low, high = np.where(left, middle, low), np.where(left, high, middle)
        before = left
    return middle


def _wanted_root(confidence: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(confidence))

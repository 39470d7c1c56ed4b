"""The two-parameter hit/miss likelihood: logit or probit in the log of the size, plain or penalised.

``P(hit at size a) = F(intercept + slope * ln a)``. Where hits and misses do not
overlap in size the plain likelihood has no finite maximum; the penalised one,
with half the log-determinant of the expected information added (Jeffreys' prior),
always has. For the logit that penalty is Firth's bias reduction; for the probit it
is the same penalty, which shrinks likewise.

References
----------
Firth, D. (1993). Bias reduction of maximum likelihood estimates. Biometrika 80, 27-38.
Heinze, G. and Schemper, M. (2002). A solution to the problem of separation in
logistic regression. Statistics in Medicine 21, 2409-2419.
Kosmidis, I. and Firth, D. (2021). Jeffreys-prior penalty, finiteness and shrinkage
in binomial-response generalized linear models. Biometrika 108, 71-82.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Derivatives",
    "Floats",
    "HitMissData",
    "HitMissFit",
    "Link",
    "derivatives",
    "fit_hit_miss",
    "linear_predictor",
    "log_likelihood",
    "log_likelihoods",
    "probability",
    "separated",
]

Floats = NDArray[np.float64]

_MOST_STEPS = 300
_MOST_HALVINGS = 40
_LONGEST_STEP = 5.0
_STEP_TOLERANCE = 1e-9
_NEAR_ENOUGH = 1e-6
"""A step this short that rounding does not let through ends the climb as well."""

_ROUNDING = 1e-14
_MOST_ETA = 30.0
_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2 * np.pi))


class Link(StrEnum):
    """The S-curve between size and probability."""

    LOGIT = "logit"
    PROBIT = "probit"


@dataclass(frozen=True, eq=False)
class HitMissData:
    """Log sizes and outcomes, shape (n,) each.

    Parameters
    ----------
    log_size : float array
    hit : bool array
    """

    log_size: Floats
    hit: NDArray[np.bool_]


@dataclass(frozen=True)
class HitMissFit:
    """A maximum of the likelihood, plain or penalised."""

    link: Link
    penalised: bool
    intercept: float
    slope: float
    log_likelihood: float
    """Of what was maximised: with the penalty where there is one."""
    converged: bool

    def at(self, log_size: float) -> float:
        """Linear predictor at a log size."""
        return self.intercept + self.slope * log_size


@dataclass(frozen=True, eq=False)
class Derivatives:
    """The log-likelihood of each flaw and its derivatives in the linear predictor, shape (n,) each."""

    value: Floats
    slope: Floats
    information: Floats
    """Observed: the second derivative with its sign turned, never below zero."""


def separated(data: HitMissData) -> bool:
    """Whether a size divides misses from hits without overlap, or all outcomes are equal.

    Examples
    --------
    >>> separated(HitMissData(np.log([1.0, 2.0, 3.0]), np.array([False, False, True])))
    True
    """
    if data.hit.all() or not data.hit.any():
        return True
    hits, misses = data.log_size[data.hit], data.log_size[~data.hit]
    return bool(misses.max() <= hits.min() or hits.max() <= misses.min())


def probability(link: Link, eta: Floats) -> Floats:
    """Probability of a hit at the linear predictor."""
    from scipy.special import expit, ndtr

    return np.asarray(expit(eta) if link is Link.LOGIT else ndtr(eta), dtype=np.float64)


def linear_predictor(link: Link, pod: float) -> float:
    """The inverse of `probability`."""
    from scipy.special import logit, ndtri

    return float(logit(pod) if link is Link.LOGIT else ndtri(pod))


def derivatives(link: Link, eta: Floats, hit: NDArray[np.bool_]) -> Derivatives:
    """Value, slope and curvature of the log-likelihood of each flaw.

    Both curves are symmetric: a miss at ``eta`` is as likely as a hit at ``-eta``.
    """
    side = np.where(hit, 1.0, -1.0)
    turned = side * eta
    value = _log_cdf(link, turned)
    if link is Link.LOGIT:
        miss = -np.expm1(value)
        return Derivatives(value, side * miss, miss * (1 - miss))
    ratio = np.exp(-0.5 * turned**2 - _LOG_ROOT_TWO_PI - value)
    return Derivatives(value, side * ratio, np.maximum(ratio * (ratio + turned), 0.0))


def log_likelihood(
    data: HitMissData, link: Link, intercept: float, slope: float, *, penalised: bool
) -> float:
    """Log-likelihood at the two parameters."""
    eta = intercept + slope * data.log_size
    return float(log_likelihoods(data, link, eta, penalised=penalised))


def log_likelihoods(data: HitMissData, link: Link, eta: Floats, *, penalised: bool) -> Floats:
    """Log-likelihood of many curves at once, given as linear predictors of shape (..., n); shape (...)."""
    total = np.asarray(_log_cdf(link, np.where(data.hit, eta, -eta)).sum(axis=-1), dtype=np.float64)
    if not penalised:
        return total
    return total + _half_log_determinant(data.log_size, _log_weight(link, eta))


def fit_hit_miss(data: HitMissData, link: Link, *, penalised: bool) -> HitMissFit:
    """Maximise over intercept and slope, by Newton's steps (scoring steps with the penalty)."""
    centre = float(data.log_size.mean())
    spread = float(data.log_size.std()) or 1.0
    x = (data.log_size - centre) / spread
    design = np.stack([np.ones_like(x), x])
    start = np.array([linear_predictor(link, (data.hit.sum() + 0.5) / (len(x) + 1)), 0.0])
    hill = _Hill(design, data.hit, link, x if penalised else None)
    best, converged = hill.climb(start)
    slope = float(best[1]) / spread
    intercept = float(best[0]) - slope * centre
    value = log_likelihood(data, link, intercept, slope, penalised=penalised)
    return HitMissFit(link, penalised, intercept, slope, value, converged)


@dataclass(frozen=True, eq=False)
class _Hill:
    """What is climbed: the likelihood over parameters of ``eta = parameters @ design``."""

    design: Floats
    hit: NDArray[np.bool_]
    link: Link
    penalty_x: Floats | None

    def stand(self, point: Floats) -> tuple[float, Floats, Floats]:
        """Height, gradient and information (observed; expected with the penalty) at a point."""
        eta = point @ self.design
        each = derivatives(self.link, eta, self.hit)
        height, gradient, weight = float(each.value.sum()), each.slope, each.information
        if self.penalty_x is not None:
            log_weight = _log_weight(self.link, eta)
            weight = np.exp(log_weight)
            height += float(_half_log_determinant(self.penalty_x, log_weight))
            bent = _leverage(self.penalty_x, log_weight) * _log_weight_slope(self.link, eta)
            gradient = gradient + 0.5 * bent
        information = (self.design * weight) @ self.design.T
        # Far out on a plateau the information vanishes; a trace of it keeps the step finite.
        information.flat[:: len(point) + 1] += 1e-12 * (1.0 + information.flat[0])
        return height, self.design @ gradient, information

    def climb(self, point: Floats) -> tuple[Floats, bool]:
        """Newton's steps, halved until the height does not fall; the top, and whether it settled."""
        height, gradient, information = self.stand(point)
        for _ in range(_MOST_STEPS):
            step = np.linalg.solve(information, gradient)
            settled = bool(np.abs(step).max() <= _NEAR_ENOUGH * (1.0 + np.abs(point).max()))
            step *= min(1.0, _LONGEST_STEP / max(float(np.abs(step).max()), 1e-300))
            for _ in range(_MOST_HALVINGS):
                there = self.stand(point + step)
                if there[0] >= height - _ROUNDING * abs(height):
                    break
                step = step / 2
            else:
                return point, settled
            point, (height, gradient, information) = point + step, there
            if np.abs(step).max() <= _STEP_TOLERANCE * (1.0 + np.abs(point).max()):
                return point, True
        return point, False


def _log_cdf(link: Link, eta: Floats) -> Floats:
    from scipy.special import log_expit, log_ndtr

    return np.asarray(log_expit(eta) if link is Link.LOGIT else log_ndtr(eta), dtype=np.float64)


def _log_weight(link: Link, eta: Floats) -> Floats:
    """Log of the expected information of each flaw."""
    eta = np.clip(eta, -_MOST_ETA, _MOST_ETA)
    log_variance = _log_cdf(link, eta) + _log_cdf(link, -eta)
    if link is Link.LOGIT:
        return log_variance
    return np.asarray(-(eta**2) - 2 * _LOG_ROOT_TWO_PI - log_variance, dtype=np.float64)


def _log_weight_slope(link: Link, eta: Floats) -> Floats:
    """Derivative of `_log_weight` in the linear predictor."""
    eta = np.clip(eta, -_MOST_ETA, _MOST_ETA)
    log_hit, log_miss = _log_cdf(link, eta), _log_cdf(link, -eta)
    if link is Link.LOGIT:
        return np.asarray(np.exp(log_miss) - np.exp(log_hit), dtype=np.float64)
    log_density = -0.5 * eta**2 - _LOG_ROOT_TWO_PI
    slope = -2 * eta - np.exp(log_density - log_hit) + np.exp(log_density - log_miss)
    return np.asarray(slope, dtype=np.float64)


def _leverage(x: Floats, log_weight: Floats) -> Floats:
    """Diagonal of the hat matrix of intercept and slope."""
    weight = np.exp(log_weight - log_weight.max())
    total = weight.sum()
    away = x - (weight * x).sum() / total
    return np.asarray(weight / total + weight * away**2 / (weight * away**2).sum(), dtype=np.float64)


def _half_log_determinant(x: Floats, log_weight: Floats) -> Floats:
    """Half the log-determinant of the expected information of intercept and slope, over the last axis."""
    top = log_weight.max(axis=-1, keepdims=True)
    weight = np.exp(log_weight - top)
    total = weight.sum(axis=-1, keepdims=True)
    centre = (weight * x).sum(axis=-1, keepdims=True) / total
    determinant = total[..., 0] * (weight * (x - centre) ** 2).sum(axis=-1)
    return np.asarray(0.5 * np.log(np.maximum(determinant, 1e-300)) + top[..., 0], dtype=np.float64)

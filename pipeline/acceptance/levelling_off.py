"""Does detection level off below one? A third parameter, the upper asymptote, tells.

``P(hit at size a) = top * F(intercept + slope * ln a)``. The two-parameter curve rises to
one whatever the data: where large flaws are missed now and then it hides that, and sizes
read from it do not hold.

References
----------
Self, S. G. and Liang, K.-Y. (1987). Asymptotic properties of maximum likelihood estimators
and likelihood ratio tests under nonstandard conditions. Journal of the American Statistical
Association 82, 605-610.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    Floats,
    HitMissData,
    HitMissFit,
    Link,
    derivatives,
    probability,
)

__all__ = ["LevellingOff", "asymptote"]

_STARTS = (0.95, 0.8, 0.6)
_STEEPER = 1.5
_MOST_LOG_ODDS = 20.0


@dataclass(frozen=True)
class LevellingOff:
    """Upper asymptote of the three-parameter curve, and the p-value of an asymptote of one."""

    top: float
    p: float


def asymptote(data: HitMissData, fit: HitMissFit) -> LevellingOff:
    """Fit the asymptote as a third parameter and compare with the plain two-parameter `fit`."""
    from scipy.optimize import minimize
    from scipy.special import expit, logit
    from scipy.stats import chi2

    centre, spread = float(data.log_size.mean()), float(data.log_size.std())
    x = (data.log_size - centre) / spread
    best, top = fit.log_likelihood, 1.0
    for start in _STARTS:
        found = minimize(
            _loss,
            np.array([fit.at(centre), _STEEPER * fit.slope * spread, logit(start)]),
            args=(x, data, fit.link),
            jac=True,
            method="L-BFGS-B",
            bounds=[(-60, 60), (-60, 60), (-_MOST_LOG_ODDS, _MOST_LOG_ODDS)],
        )
        if -found.fun > best:
            best, top = -float(found.fun), float(expit(found.x[2]))
    ratio = 2 * (best - fit.log_likelihood)
    # One is the end of the parameter's range: half of the chi-squared mass lies at zero.
    return LevellingOff(top, float(0.5 * chi2.sf(ratio, 1)) if ratio > 0 else 1.0)


def _loss(point: Floats, x: Floats, data: HitMissData, link: Link) -> tuple[float, Floats]:
    """Log-likelihood with its sign turned, and its gradient."""
    from scipy.special import expit, log_expit

    eta = point[0] + point[1] * x
    of_hit = derivatives(link, eta, np.ones(eta.shape, dtype=bool))
    below = probability(link, eta)
    top, log_top = expit(point[2]), log_expit(point[2])
    miss = np.maximum(1 - top * below, 1e-300)
    value = np.where(data.hit, log_top + of_hit.value, np.log(miss))
    # d(top * F)/d(eta) = top * F * slope of log F; d(log top)/d(log-odds) = 1 - top.
    odds = top * below / miss
    by_eta = of_hit.slope * np.where(data.hit, 1.0, -odds)
    by_top = (1 - top) * np.where(data.hit, 1.0, -odds)
    return -float(value.sum()), -np.array([by_eta.sum(), (by_eta * x).sum(), by_top.sum()])

"""Intervals by resampling whole groups, for figures that are no simple share.

Sections of one coil resemble each other, so groups are drawn, not sections. All
our figures (macro-F1, kappa, log loss) are functions of sums over sections;
those sums are kept per group, a draw is then one row of group counts, and all
draws are one matrix product.

References
----------
Efron, B. (1987). Better bootstrap confidence intervals. Journal of the American
Statistical Association 82, 171-185 (the bias-corrected, accelerated interval).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, clopper_pearson
from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["Bounds", "Plan", "Statistic", "grouped_bootstrap", "sums_by_group", "widened"]

Statistic = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True)
class Plan:
    """How to resample: number of draws, level and seed."""

    draws: int = 2000
    level: float = DEFAULT_LEVEL
    seed: int = 1


@dataclass(frozen=True)
class Bounds:
    """The range that a figure can take by its definition; None where it is open."""

    low: float | None = None
    high: float | None = None


def sums_by_group(values: NDArray[np.float64], groups: NDArray[np.str_]) -> NDArray[np.float64]:
    """Sum rows of `values` (n, s) within each group; shape (n_groups, s), groups in sorted order.

    Examples
    --------
    >>> sums_by_group(np.array([[1.0], [2.0], [4.0]]), np.array(["b", "a", "b"]))
    array([[2.],
           [5.]])
    """
    names, codes = np.unique(groups, return_inverse=True)
    sums = np.zeros((len(names), values.shape[1]))
    np.add.at(sums, codes, values)
    return sums


def _bca_tails(
    draws: NDArray[np.float64], estimate: float, jackknife: NDArray[np.float64], level: float
) -> NDArray[np.float64] | None:
    """The two quantiles of the draws to read, or None where the method breaks down."""
    from scipy.stats import norm

    if len(draws) == 0 or len(jackknife) < 2:
        return None
    # Ties count half, so that a discrete figure is not corrected for a bias it does not have.
    below = (np.mean(draws < estimate) + np.mean(draws <= estimate)) / 2
    if not 0 < below < 1:
        return None
    bias = norm.ppf(below)
    spread = jackknife.mean() - jackknife
    scale = float(np.sum(spread**2))
    acceleration = 0.0 if scale == 0 else float(np.sum(spread**3)) / (6 * scale**1.5)
    z = norm.ppf([(1 - level) / 2, (1 + level) / 2])
    reach = 1 - acceleration * (bias + z)
    if np.any(reach <= 0):
        return None
    return np.asarray(norm.cdf(bias + (bias + z) / reach), dtype=np.float64)


def widened(estimate: float, units: int, level: float, bounds: Bounds) -> tuple[float, float] | None:
    """Interval of a figure stretched towards its bounds as far as the exact interval of `units` in `units`.

    None where a bound is open.
    """
    if bounds.low is None or bounds.high is None:
        return None
    slack = 1.0 - clopper_pearson(units, units, level)[0]
    return estimate - slack * (estimate - bounds.low), estimate + slack * (bounds.high - estimate)


def grouped_bootstrap(
    sums: NDArray[np.float64],
    statistic: Statistic,
    plan: Plan,
    *,
    n: int,
    bounds: Bounds = Bounds(),
    units: int | None = None,
) -> Estimate:
    """Interval of `statistic` by drawing groups with replacement (BCa, else percentile).

    Parameters
    ----------
    sums : array of shape (n_groups, s)
        Additive sums of each group.
    statistic : callable
        Takes sums of shape (b, s), returns the figure of each row, shape (b,); NaN
        where a draw gives none (such draws are dropped).
    plan : Plan
        Draws, level and seed; the same plan gives the same interval.
    n : int
        Number of cases, for the record only.
    bounds : Bounds
        Range of the figure. A sample without any variation (all right, or one group
        only) would give an interval of zero width; it is then widened towards the
        bounds as far as the exact interval of `units` successes in `units` reaches.
        Without bounds such an interval is unknown.
    units : int, optional
        Number of independent cases behind the weakest part of the figure; default:
        the number of groups.

    Returns
    -------
    Estimate
        ``method`` says which way was taken.
    """
    if len(sums) == 0:
        return Estimate(n=n, level=plan.level, unknown="no case")
    total = sums.sum(axis=0)
    estimate = float(statistic(total[None, :])[0])
    if not np.isfinite(estimate):
        return Estimate(n=n, level=plan.level, unknown="not defined for these sections")
    groups = len(sums)
    rng = np.random.default_rng(plan.seed)
    weights = rng.multinomial(groups, np.full(groups, 1.0 / groups), size=plan.draws).astype(np.float64)
    draws = statistic(weights @ sums)
    draws = draws[np.isfinite(draws)]
    tails = None
    if groups > 1:
        jackknife = statistic(total[None, :] - sums)
        tails = _bca_tails(draws, estimate, jackknife[np.isfinite(jackknife)], plan.level)
    method = f"bootstrap over {groups} groups, BCa, {plan.draws} draws"
    if tails is None:
        tails = np.array([(1 - plan.level) / 2, (1 + plan.level) / 2])
        method = f"bootstrap over {groups} groups, percentile, {plan.draws} draws"
    low, high = (float(q) for q in np.quantile(draws, tails)) if len(draws) else (estimate, estimate)
    low, high = min(low, estimate), max(high, estimate)
    if high - low < 1e-12:
        wide = widened(estimate, max(1, groups if units is None else units), plan.level, bounds)
        method = f"all draws agree; widened by the exact interval of {units or groups} in {units or groups}"
        if wide is None:
            return Estimate(n=n, estimate=estimate, level=plan.level, method="too few groups for an interval")
        low, high = wide
    return Estimate(n=n, estimate=estimate, low=low, high=high, level=plan.level, method=method)

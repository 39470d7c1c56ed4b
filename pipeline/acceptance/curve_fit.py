"""Does a hit/miss curve go with its data? Goodness of fit, and whether size matters at all.

References
----------
Hosmer, D. W. and Lemeshow, S. (1980). Goodness of fit tests for the multiple logistic
regression model. Communications in Statistics A 9, 1043-1069.
"""

from __future__ import annotations

import numpy as np

from seamtell.pipeline.acceptance.hit_miss_likelihood import HitMissData, HitMissFit, probability

__all__ = ["FEWEST_FOR_FIT", "goodness_of_fit_p", "slope_p"]

FEWEST_FOR_FIT = 30
_MOST_GROUPS = 10
_FEWEST_GROUPS = 3
_LEAST_EXPECTED = 1.0


def goodness_of_fit_p(data: HitMissData, fit: HitMissFit) -> float | None:
    """Hosmer and Lemeshow's test over up to ten groups of rising fitted probability.

    Neighbours are merged until each group expects at least one hit and one miss: without
    that a single surprise at the end of the curve decides the test.

    Returns
    -------
    float or None
        None with fewer than 30 flaws, three groups, or with a penalised fit.
    """
    from scipy.stats import chi2

    if len(data.hit) < FEWEST_FOR_FIT or fit.penalised:
        return None
    fitted = probability(fit.link, fit.intercept + fit.slope * data.log_size)
    order = np.argsort(fitted, kind="stable")
    cuts = np.array_split(order, min(_MOST_GROUPS, len(order) // 5))
    table = np.array([[len(cut), fitted[cut].sum(), data.hit[cut].sum()] for cut in cuts])
    size, expected, seen = np.array(_merged(table)).T
    if len(size) < _FEWEST_GROUPS:
        return None
    statistic = ((seen - expected) ** 2 / (expected * (1 - expected / size))).sum()
    return float(chi2.sf(statistic, len(size) - 2))


def _merged(table: np.ndarray) -> list[np.ndarray]:
    """Rows (size, expected hits, hits) joined to their neighbours until each expects enough of both."""
    groups: list[np.ndarray] = []
    open_row = np.zeros(3)
    for row in table:
        open_row = open_row + row
        if min(open_row[1], open_row[0] - open_row[1]) >= _LEAST_EXPECTED:
            groups.append(open_row)
            open_row = np.zeros(3)
    if open_row[0] > 0:
        if groups:
            groups[-1] = groups[-1] + open_row
        else:
            groups.append(open_row)
    return groups


def slope_p(data: HitMissData, fit: HitMissFit) -> float:
    """One-sided p-value of a curve that does not rise with size, by the likelihood ratio."""
    from scipy.special import ndtr, xlogy

    share = float(data.hit.mean())
    flat = len(data.hit) * float(xlogy(share, share) + xlogy(1 - share, 1 - share))
    root = np.sign(fit.slope) * np.sqrt(max(2 * (fit.log_likelihood - flat), 0.0))
    return float(ndtr(-root))

"""Intervals of a share, exact and approximate, for small numbers.

References
----------
Clopper, C. J. and Pearson, E. S. (1934). The use of confidence or fiducial
limits illustrated in the case of the binomial. Biometrika 26, 404-413.
Wilson, E. B. (1927). Probable inference, the law of succession, and statistical
inference. Journal of the American Statistical Association 22, 209-212.
"""

from __future__ import annotations

import math

from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["DEFAULT_LEVEL", "clopper_pearson", "share", "unknown", "wilson"]

DEFAULT_LEVEL = 0.95


def _check(k: float, n: float, level: float) -> None:
    if n < 1 or not 0 <= k <= n:
        raise ValueError(f"got {k} of {n}, expected 0 <= k <= n and n >= 1")
    if not 0 < level < 1:
        raise ValueError(f"got level {level}, expected a number between 0 and 1")


def clopper_pearson(k: float, n: float, level: float = DEFAULT_LEVEL) -> tuple[float, float]:
    """Exact two-sided interval of a share of `k` in `n`; never shorter than its level promises.

    Examples
    --------
    >>> low, high = clopper_pearson(29, 29, 0.90)
    >>> round(low, 3), high
    (0.902, 1.0)
    """
    from scipy.stats import beta

    _check(k, n, level)
    tail = (1.0 - level) / 2.0
    low = 0.0 if k == 0 else float(beta.ppf(tail, k, n - k + 1))
    high = 1.0 if k == n else float(beta.ppf(1.0 - tail, k + 1, n - k))
    return low, high


def wilson(k: int, n: int, level: float = DEFAULT_LEVEL) -> tuple[float, float]:
    """Score interval of a share of `k` in `n`: shorter than the exact one, right on average.

    Examples
    --------
    >>> [round(bound, 3) for bound in wilson(5, 10)]
    [0.237, 0.763]
    """
    from scipy.stats import norm

    _check(k, n, level)
    z = float(norm.ppf(0.5 + level / 2.0))
    p = k / n
    centre = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    # Rounding must not push the bound of an extreme share past it.
    low = 0.0 if k == 0 else max(0.0, centre - half)
    high = 1.0 if k == n else min(1.0, centre + half)
    return low, high


def share(k: int, n: int, *, level: float = DEFAULT_LEVEL, unknown_because: str = "no case") -> Estimate:
    """Share of `k` in `n` with its exact interval; unknown when there is no case.

    Examples
    --------
    >>> print(share(9, 10))
    0.90 [0.55, 1.00] n = 10
    >>> print(share(0, 0))
    unknown (no case)
    """
    if n == 0:
        return unknown(unknown_because, level=level)
    low, high = clopper_pearson(k, n, level)
    return Estimate(
        n=n, count=k, estimate=k / n, low=low, high=high, level=level, method="Clopper-Pearson, exact"
    )


def unknown(because: str, *, n: int = 0, level: float = DEFAULT_LEVEL) -> Estimate:
    """A figure that the data cannot give, with the reason."""
    return Estimate(n=n, level=level, unknown=because)

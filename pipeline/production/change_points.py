"""When the rate of flaws changed: exact segmentation of Poisson counts, with uncertainty.

Within a segment the rate is constant, with a gamma prior around the mean of the whole
series, so the likelihood of every possible segment has a closed form. Dynamic programming sums
over *all* ways to cut the series, which gives the exact posterior probability of a change
in each period; sampling backwards gives the interval of each date. General libraries of
segmentation were weighed and left: they give the best cut without its uncertainty, and their Poisson
costs know no inspected length, so that a week of half the production would look like a
drop. The series are short (a year of weeks or days), so the square of their length costs nothing.

The prior says that a whole series holds a change with probability 0.1, or less where many
series are looked at: in a quiet year the evidence must be strong before one is reported.

References
----------
Fearnhead, P. (2006). Exact and efficient Bayesian inference for multiple changepoint
problems. Statistics and Computing 16, 203-213.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp
from scipy.stats import gamma

__all__ = ["ANY_CHANGE", "REPORTED_PROBABILITY", "ChangePoint", "change_points"]

REPORTED_PROBABILITY = 0.95
"""A change is reported when the exact posterior is at least so sure that there is one, whatever its date."""
ANY_CHANGE = 0.10
"""Prior probability that a series holds any change."""
_PRIOR_SHAPE = 1.0
_SAMPLES = 1000


@dataclass(frozen=True)
class ChangePoint:
    """One change.

    Parameters
    ----------
    first, low, high : int
        Most probable first period of the new rate, and the interval of its date, inclusive.
    probability : float
        Posterior probability that there is this change, whatever its date. That of one within
        the interval is less by the share that the interval leaves out.
    before_per_m, after_per_m : tuple of float
        Rate with its interval: estimate, low, high.
    """

    first: int
    low: int
    high: int
    probability: float
    before_per_m: tuple[float, float, float]
    after_per_m: tuple[float, float, float]


def change_points(
    flaws: NDArray[np.int64],
    metres: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    dispersion: float = 1.0,
    any_change: float = ANY_CHANGE,
    level: float = 0.95,
) -> tuple[ChangePoint, ...]:
    """Find the changes of the rate of flaws per metre, in order of time.

    Parameters
    ----------
    flaws : int array of shape (n,)
    metres : float array of shape (n,)
        Inspected; zero where there was no production.
    rng : numpy.random.Generator
    dispersion : float
        At least one: variance of the counts over Poisson's. Counts and lengths weigh less by it.
    any_change : float
        Prior probability that the series holds any change.
    level : float
        Of the intervals.
    """
    n = len(flaws)
    worth, exposure = flaws / dispersion, metres / dispersion
    if n < 2 or worth.sum() <= 0 or exposure.sum() <= 0:
        return ()
    likelihood = _segment_likelihoods(worth, exposure)
    per_period = 1.0 - (1.0 - any_change) ** (1.0 / (n - 1))
    best = _best(likelihood, per_period)
    if not best:
        return ()
    backward = _backward(likelihood, per_period)
    samples = [_sampled(likelihood, backward, per_period, rng) for _ in range(_SAMPLES)]
    found = []
    for first in best:
        near = _nearest(samples, first, best)
        known = near[near >= 0]
        low, high = _shortest(known, level) if len(known) else (first, first)
        found.append((first, min(low, first), max(high, first), len(known) / len(samples)))
    kept = [one for one in found if one[3] >= REPORTED_PROBABILITY]
    edges = [0, *(one[0] for one in kept), n]
    return tuple(
        ChangePoint(
            *one,
            before_per_m=_rate(worth, exposure, edges[i], one[0], level),
            after_per_m=_rate(worth, exposure, one[0], edges[i + 2], level),
        )
        for i, one in enumerate(kept)
    )


def _segment_likelihoods(counts: NDArray[np.float64], exposure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log marginal likelihood of periods i to j-1 as one segment, shape (n, n+1); less common factors."""
    c = np.concatenate([[0.0], np.cumsum(counts)])
    e = np.concatenate([[0.0], np.cumsum(exposure)])
    shape, rate = _PRIOR_SHAPE, _PRIOR_SHAPE * e[-1] / c[-1]
    total_c, total_e = c[None, :] - c[:-1, None], e[None, :] - e[:-1, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        value = (
            shape * np.log(rate)
            - gammaln(shape)
            + gammaln(shape + np.maximum(total_c, 0.0))
            - (shape + total_c) * np.log(rate + np.maximum(total_e, 0.0))
        )
    n = len(counts)
    return np.where(np.arange(n + 1)[None, :] > np.arange(n)[:, None], value, -np.inf)


def _segment_terms(
    likelihood: NDArray[np.float64], after: NDArray[np.float64], i: int, per_period: float
) -> NDArray[np.float64]:
    """Log weight of each end j > i of the segment that begins at i, shape (n-i,)."""
    n = len(likelihood)
    ends = np.arange(i + 1, n + 1)
    stays = (ends - i - 1) * np.log1p(-per_period)
    changes = np.where(ends < n, np.log(per_period), 0.0)
    return np.asarray(likelihood[i, ends] + stays + changes + after[ends])


def _backward(likelihood: NDArray[np.float64], per_period: float) -> NDArray[np.float64]:
    n = len(likelihood)
    after = np.zeros(n + 1)
    for i in range(n - 1, -1, -1):
        after[i] = logsumexp(_segment_terms(likelihood, after, i, per_period))
    return after


def _sampled(
    likelihood: NDArray[np.float64], after: NDArray[np.float64], per_period: float, rng: np.random.Generator
) -> list[int]:
    n = len(likelihood)
    cuts: list[int] = []
    i = 0
    while True:
        terms = _segment_terms(likelihood, after, i, per_period)
        running = np.cumsum(np.exp(terms - after[i]))
        i += 1 + min(int(np.searchsorted(running, rng.random() * running[-1])), n - i - 1)
        if i >= n:
            return cuts
        cuts.append(i)


def _best(likelihood: NDArray[np.float64], per_period: float) -> list[int]:
    """Cuts of the most probable segmentation."""
    n = len(likelihood)
    after, following = np.zeros(n + 1), np.zeros(n, dtype=np.int64)
    for i in range(n - 1, -1, -1):
        terms = _segment_terms(likelihood, after, i, per_period)
        following[i] = i + 1 + int(np.argmax(terms))
        after[i] = terms.max()
    cuts, i = [], int(following[0])
    while i < n:
        cuts.append(i)
        i = int(following[i])
    return cuts


def _nearest(samples: list[list[int]], first: int, best: list[int]) -> NDArray[np.int64]:
    """Of each sample its cut that belongs to `first` rather than to another best cut; -1 for none."""
    others = [cut for cut in best if cut != first]
    chosen = []
    for sample in samples:
        own = [c for c in sample if all(abs(c - first) <= abs(c - other) for other in others)]
        chosen.append(min(own, key=lambda c: abs(c - first)) if own else -1)
    return np.array(chosen)


def _shortest(values: NDArray[np.int64], level: float) -> tuple[int, int]:
    """Shortest interval that holds `level` of the values."""
    ordered = np.sort(values)
    inside = max(1, int(np.ceil(level * len(ordered))))
    widths = ordered[inside - 1 :] - ordered[: len(ordered) - inside + 1]
    start = int(np.argmin(widths))
    return int(ordered[start]), int(ordered[start + inside - 1])


def _rate(
    counts: NDArray[np.float64], exposure: NDArray[np.float64], start: int, stop: int, level: float
) -> tuple[float, float, float]:
    c, e = float(counts[start:stop].sum()), float(exposure[start:stop].sum())
    if e <= 0:
        return 0.0, 0.0, float("inf")
    tail = (1.0 - level) / 2.0
    return c / e, float(gamma.ppf(tail, c + 0.5) / e), float(gamma.ppf(1.0 - tail, c + 0.5) / e)

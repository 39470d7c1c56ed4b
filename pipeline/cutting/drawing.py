"""Drawing places to cut with known probabilities, spread over what they look like.

The cuts that tell most are not a fair sample. They can be weighed back to one as long as
every place *could* have been drawn and its probability is known. So nothing here picks the
best places outright: worth decides the probability, and a draw decides the place.

- `inclusion_probabilities` makes probabilities proportional to worth, with a share that
  is the same for all, so that no weight grows without bound (a defensive mixture).
- `spread_draw` is the local pivotal method. Two neighbours compete: the one takes the
  other's probability. Near places are therefore seldom drawn together, and every
  probability is kept exactly.
- `systematic_draw` takes seams by their length from one random start, along a stated order.

References
----------
Grafström, A., Lundström, N. L. P. and Schelin, L. (2012). Spatially balanced sampling
through the pivotal method. Biometrics 68, 514-520.
Hesterberg, T. (1995). Weighted average importance sampling and defensive mixture
distributions. Technometrics 37, 185-194.
Madow, W. G. (1949). On the theory of systematic sampling, II. Annals of Mathematical
Statistics 20, 333-354.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["EQUAL_SHARE", "inclusion_probabilities", "spread_draw", "systematic_draw"]

EQUAL_SHARE = 0.2
"""Share of the probability that does not look at worth: no weight exceeds five times the mean."""

_EPS = 1e-9

Floats = NDArray[np.float64]
Distances = Callable[[int, NDArray[np.int64]], Floats]
"""Distances of one place to others: ``(i, others of shape (m,)) -> shape (m,)``."""


def inclusion_probabilities(worth: Floats, n: int, *, equal_share: float = EQUAL_SHARE) -> Floats:
    """Probabilities that add up to `n`, proportional to a mixture of worth and one for all.

    Parameters
    ----------
    worth : array of shape (m,)
        Zero or more.
    n : int
        Places to draw, at most m.
    equal_share : float
        Of the mixture, above 0 and at most 1.

    Returns
    -------
    array of shape (m,)
        Above 0 and at most 1.

    Raises
    ------
    ValueError
        More places than there are, or a worth below zero.

    Examples
    --------
    >>> inclusion_probabilities(np.array([0.0, 0.0, 1.0, 1.0]), 2, equal_share=0.5).tolist()
    [0.25, 0.25, 0.75, 0.75]
    """
    m = len(worth)
    if not 0 <= n <= m:
        raise ValueError(f"got {n} places to draw, expected 0 to {m}")
    if not (np.isfinite(worth).all() and (worth >= 0).all()):
        raise ValueError("got a worth that is not a number of zero or more")
    if not 0 < equal_share <= 1:
        raise ValueError(f"got an equal share of {equal_share}, expected above 0 and at most 1")
    if n == 0:
        return np.zeros(m)
    total = worth.sum()
    sizes = np.full(m, 1.0 / m) if total <= 0 else equal_share / m + (1 - equal_share) * worth / total
    result = np.ones(m)
    free = np.ones(m, dtype=bool)
    while free.any():
        # What exceeds one is drawn for certain; the rest shares what is left.
        result[free] = sizes[free] / sizes[free].sum() * (n - (m - free.sum()))
        over = free & (result > 1.0)
        if not over.any():
            break
        result[over] = 1.0
        free &= ~over
    return np.minimum(result, 1.0)


def spread_draw(probabilities: Floats, distances: Distances, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw by the local pivotal method; place i is drawn with exactly ``probabilities[i]``.

    Parameters
    ----------
    probabilities : array of shape (m,)
        Between 0 and 1; their sum, rounded, is the number of places drawn.
    distances : callable
    rng : numpy.random.Generator

    Returns
    -------
    int array
        Places drawn, rising.
    """
    p = probabilities.astype(np.float64).copy()
    drawn = p >= 1 - _EPS
    active = np.flatnonzero((p > _EPS) & ~drawn)
    while len(active) > 1:
        i = int(active[rng.integers(len(active))])
        others = active[active != i]
        gaps = distances(i, others)
        nearest = others[gaps == gaps.min()]
        j = int(nearest[rng.integers(len(nearest))])
        p[i], p[j] = _fight(float(p[i]), float(p[j]), rng)
        drawn[[i, j]] |= p[[i, j]] >= 1 - _EPS
        active = active[(p[active] > _EPS) & (p[active] < 1 - _EPS)]
    if len(active) == 1:  # the rest of a sum that is no whole number
        drawn[active[0]] = rng.random() < p[active[0]]
    return np.flatnonzero(drawn)


def _fight(a: float, b: float, rng: np.random.Generator) -> tuple[float, float]:
    """One step of the pivotal method: one of the two becomes 0 or 1, both keep their expectation."""
    total = a + b
    if total < 1:
        return (total, 0.0) if rng.random() < a / total else (0.0, total)
    return (1.0, total - 1) if rng.random() < (1 - b) / (2 - total) else (total - 1, 1.0)


def systematic_draw(sizes: Floats, n: int, rng: np.random.Generator) -> tuple[NDArray[np.int64], Floats]:
    """Draw `n` points uniformly along the sizes laid end to end, at equal distances from a random start.

    Parameters
    ----------
    sizes : array of shape (m,)
        Above zero, in the order along which the draw shall spread.
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    places : int array of shape (n,)
        Into which size each point falls.
    within : array of shape (n,)
        How far into it, 0 to its size.
    """
    ends = np.cumsum(sizes)
    points = (np.arange(n) + rng.random()) * (ends[-1] / max(n, 1))
    places = np.minimum(np.searchsorted(ends, points, side="right"), len(sizes) - 1)
    within = np.clip(points - (ends[places] - sizes[places]), 0.0, sizes[places])
    return places.astype(np.int64), within

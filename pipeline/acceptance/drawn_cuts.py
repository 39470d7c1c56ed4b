"""Weights of cuts that a plan drew with unequal probabilities.

A planned cut stands for as many indications as its probability says, one over it. Such
weights spread, so n of them tell less than n equal ones: their *effective number* is
``(sum w)^2 / sum w^2`` (Kish). The weights of one kind of indication are scaled to add up to
that number. Cuts of no plan keep weight one, as a random sample of their kind, and the two
are pooled by how much each tells. Exact binomial bounds from effective numbers are the method
of Korn and Graubard.

References
----------
Kish, L. (1965). *Survey Sampling*. Wiley.
Korn, E. L. and Graubard, B. I. (1998). Confidence intervals for proportions with small expected
number of positive counts estimated from survey data. Survey Methodology 24, 193-201.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["drawn_weights"]


def drawn_weights(kinds: NDArray[np.str_], probability: NDArray[np.float64] | None) -> NDArray[np.float64]:
    """Weight of each cut in the share of its kind, shape (n,).

    Parameters
    ----------
    kinds : str array of shape (n,)
        Kind of the indication at the cut.
    probability : array of shape (n,), optional
        With which a plan drew the indication; NaN where no plan did.

    Raises
    ------
    ValueError
        A probability that is not above 0 and at most 1.

    Examples
    --------
    >>> kinds = np.array(["a", "a", "a", "b"])
    >>> drawn_weights(kinds, np.array([0.5, 0.5, np.nan, 0.1])).tolist()
    [1.0, 1.0, 1.0, 1.0]
    >>> drawn_weights(kinds, np.array([0.5, 0.25, np.nan, 0.1])).round(2).tolist()
    [0.6, 1.2, 1.0, 1.0]
    """
    weights = np.ones(len(kinds))
    if probability is None:
        return weights
    planned = np.isfinite(probability)
    if not ((probability[planned] > 0) & (probability[planned] <= 1)).all():
        raise ValueError("got a selection probability that is not above 0 and at most 1")
    for kind in np.unique(kinds[planned]):
        here = planned & (kinds == kind)
        raw = 1.0 / probability[here]
        weights[here] = raw * raw.sum() / (raw**2).sum()
    return weights

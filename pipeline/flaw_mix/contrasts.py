"""Do groups of seams differ in a flaw's rate? Each group against all other seams together.

All groups rest on the same sections, so their figures err together; draws that share the
confusion matrix take that out of the difference. With many groups and flaws some differ by
luck: the p-values are adjusted together (Holm).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from seamtell.pipeline.acceptance.simultaneous import holm

__all__ = ["Contrast", "contrasts", "largest_probability", "rate_ratio"]

_FLOOR_PER_M = 1e-9


@dataclass(frozen=True)
class Contrast:
    """Rate of one flaw in one group over that in all other seams.

    Parameters
    ----------
    group, label : str
    ratio, low, high : float
        Median and interval of the ratio.
    p, p_adjusted : float
        Two-sided; adjusted by Holm over all contrasts.
    """

    group: str
    label: str
    ratio: float
    low: float
    high: float
    p: float
    p_adjusted: float


def largest_probability(shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Probability of each column to be the largest, shape (k,), from draws of shape (draws, k).

    Examples
    --------
    >>> largest_probability(np.array([[0.6, 0.4], [0.7, 0.3], [0.4, 0.6], [0.9, 0.1]]))
    array([0.75, 0.25])
    """
    return np.bincount(np.argmax(shares, axis=1), minlength=shares.shape[1]) / len(shares)


def contrasts(
    rates: Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]],
    labels: Sequence[str],
    level: float,
) -> tuple[Contrast, ...]:
    """Compare each group with the rest.

    Parameters
    ----------
    rates : mapping of str to (array, array), each of shape (draws, k)
        Of each group: its rates, and those of all other seams.
    labels : sequence of str, length k
    level : float
        Of the intervals, each for itself.
    """
    rows = []
    for group, (own, rest) in rates.items():
        for k, label in enumerate(labels):
            logs = _log_ratios(own[:, k], rest[:, k])
            rows.append((group, label, *_ratio(logs, level), _two_sided(logs)))
    adjusted = holm([row[-1] for row in rows])
    return tuple(Contrast(*row, p if p is not None else 1.0) for row, p in zip(rows, adjusted, strict=True))


def rate_ratio(
    own: NDArray[np.float64], other: NDArray[np.float64], level: float
) -> tuple[float, float, float]:
    """Median and interval of the ratio of two rates, whose draws share the confusion matrix.

    Parameters
    ----------
    own, other : array of shape (draws,)
    level : float

    Examples
    --------
    >>> ratio = rate_ratio(np.array([2.0, 4.0, 6.0]), np.array([1.0, 2.0, 3.0]), 0.95)
    >>> [round(one, 3) for one in ratio]
    [2.0, 2.0, 2.0]
    """
    return _ratio(_log_ratios(own, other), level)


def _log_ratios(own: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.log(np.maximum(own, _FLOOR_PER_M)) - np.log(np.maximum(other, _FLOOR_PER_M))


def _ratio(logs: NDArray[np.float64], level: float) -> tuple[float, float, float]:
    tail = (1.0 - level) / 2.0
    low, middle, high = np.exp(np.quantile(logs, [tail, 0.5, 1.0 - tail])).tolist()
    return middle, low, high


def _two_sided(logs: NDArray[np.float64]) -> float:
    """Share of draws beyond no difference, twice; beyond what draws can resolve, by a normal tail."""
    draws = len(logs)
    beyond = min(int((logs <= 0).sum()), int((logs >= 0).sum()))
    counted = min(1.0, 2.0 * (beyond + 1) / (draws + 1))
    if beyond >= 5:
        return counted
    # Median and quartiles: the tails of a logarithm near a rate of zero are long.
    low, middle, high = np.quantile(logs, [0.25, 0.5, 0.75])
    spread = max(float(high - low) / 1.349, 1e-12)
    return min(counted, max(2.0 * float(norm.sf(abs(float(middle)) / spread)), 1e-12))

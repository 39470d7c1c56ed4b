"""Class-conditional conformal sets from out-of-fold scores.

Each class is judged against its own sections, so the guarantee holds in each
class, also in a rare one. Every section serves training and, through its
out-of-fold answer, calibration: this is cross-conformal prediction with the
scores of all folds in one pool. The guarantee is exact when the scores of a new
indication and of the sections of its true class are exchangeable; with the
final model, which has seen a little more than each fold's, it holds closely.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["ConformalScores", "leave_one_out_p_values", "nonconformity"]


def nonconformity(probabilities: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how badly each class fits: the best other class's probability less its own.

    Parameters
    ----------
    probabilities : array of shape (n, K), K >= 2

    Returns
    -------
    array of shape (n, K)
        Between -1 (fits) and 1.

    References
    ----------
    Johansson, Linusson, Löfström and Boström, "Model-agnostic nonconformity
    functions for conformal classification", IJCNN 2017: this margin gives more
    sets of one label than one minus the probability does.

    Examples
    --------
    >>> nonconformity(np.array([[0.7, 0.2, 0.1]])).round(3).tolist()
    [[-0.5, 0.5, 0.6]]
    """
    ranked = np.sort(probabilities, axis=1)
    best, second = ranked[:, -1:], ranked[:, -2:-1]
    is_best = np.arange(probabilities.shape[1]) == probabilities.argmax(axis=1)[:, None]
    return np.asarray(np.where(is_best, second, best) - probabilities, dtype=np.float64)


@dataclass(frozen=True)
class ConformalScores:
    """Sorted out-of-fold scores of the sections of each class.

    Parameters
    ----------
    scores : tuple of tuple of float, length K
        Scores of each section for its true class, ascending.
    """

    scores: tuple[tuple[float, ...], ...]

    @classmethod
    def collect(cls, scores: NDArray[np.float64], codes: NDArray[np.int64]) -> ConformalScores:
        """Collect from out-of-fold scores of shape (n, K) and true classes of shape (n,)."""
        own = scores[np.arange(len(codes)), codes]
        return cls(tuple(tuple(np.sort(own[codes == c]).tolist()) for c in range(scores.shape[1])))

    def p_values(self, scores: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the p-value of each class, shape (n, K): (1 + #{own scores >= score}) / (n_c + 1).

        Examples
        --------
        >>> ConformalScores(((0.1, 0.2, 0.4),)).p_values(np.array([[0.2], [0.9]])).tolist()
        [[0.75], [0.25]]
        """
        p_values = np.empty_like(scores)
        for c, own in enumerate(self.scores):
            at_least = len(own) - np.searchsorted(np.array(own), scores[:, c], side="left")
            p_values[:, c] = (1 + at_least) / (len(own) + 1)
        return p_values

    def to_document(self, classes: Sequence[str]) -> dict[str, list[float]]:
        """Return the JSON content, by class name."""
        return {name: list(own) for name, own in zip(classes, self.scores, strict=True)}

    @classmethod
    def from_document(cls, document: Mapping[str, Any], classes: Sequence[str]) -> ConformalScores:
        """Rebuild from `to_document`."""
        return cls(tuple(tuple(float(s) for s in document[name]) for name in classes))


def leave_one_out_p_values(scores: NDArray[np.float64], codes: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return p-values of the calibration sections themselves, each left out of its own class's pool.

    Parameters
    ----------
    scores : array of shape (n, K)
        Out-of-fold scores.
    codes : int array of shape (n,)

    Returns
    -------
    array of shape (n, K)
    """
    p_values = ConformalScores.collect(scores, codes).p_values(scores)
    rows = np.arange(len(codes))
    size = np.bincount(codes, minlength=scores.shape[1])[codes]
    # The own score counted itself once in the numerator and once in the size of the pool.
    p_values[rows, codes] = (p_values[rows, codes] * (size + 1) - 1) / size
    return p_values

"""Weights that give every class the same say, however many sections it has."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["balanced_weights"]


def balanced_weights(codes: NDArray[np.int64], k: int) -> NDArray[np.float64]:
    """Return weights of shape (n,) and mean 1 that give each class present the same total.

    Examples
    --------
    >>> balanced_weights(np.array([0, 0, 0, 1]), 2).round(3).tolist()
    [0.667, 0.667, 0.667, 2.0]
    """
    counts = np.bincount(codes, minlength=k)
    return np.asarray(len(codes) / ((counts > 0).sum() * counts[codes]), dtype=np.float64)

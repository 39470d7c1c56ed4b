"""Which sections train: the one rule that both environments share; needs NumPy alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["CLASSES", "first_of_each"]

CLASSES = 5


def first_of_each(codes: NDArray[np.int64], per_class: int, skip: int = 0) -> NDArray[np.int64]:
    """Rows of `per_class` sections of each class after the first `skip`: fewer are a part of more.

    Examples
    --------
    >>> first_of_each(np.array([0, 1, 0, 1, 2, 3, 4]), 1)
    array([0, 1, 4, 5, 6])
    """
    rows = [np.flatnonzero(codes == code)[skip : skip + per_class] for code in range(CLASSES)]
    return np.concatenate(rows)

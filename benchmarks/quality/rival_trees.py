"""LightGBM on a rival's features; runs in the environment of ``requirements.txt``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["TREES", "fit_trees"]

TREES: Mapping[str, Mapping[str, Any]] = {
    "library defaults": {},
    "held back": {
        "n_estimators": 60,
        "learning_rate": 0.08,
        "num_leaves": 6,
        "max_depth": 4,
        "min_child_samples": 4,
        "reg_lambda": 3.0,
        "colsample_bytree": 0.5,
        "subsample": 0.8,
        "subsample_freq": 1,
    },
    "held back, many": {
        "n_estimators": 300,
        "learning_rate": 0.03,
        "num_leaves": 8,
        "min_child_samples": 5,
        "reg_lambda": 3.0,
        "colsample_bytree": 0.3,
        "subsample": 0.8,
        "subsample_freq": 1,
    },
}
"""Settings to choose from; the second is close to what our own trees are grown with."""


def fit_trees(rows: NDArray[np.float64], codes: NDArray[np.int64], settings: str, seed: int) -> Any:
    """Fit the library's classifier with the named settings."""
    from lightgbm import LGBMClassifier

    further = dict(TREES[settings])
    return LGBMClassifier(random_state=seed, n_jobs=1, verbosity=-1, **further).fit(rows, codes)

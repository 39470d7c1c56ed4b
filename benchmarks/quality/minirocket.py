"""MiniRocket with a ridge classifier; runs in the environment of ``requirements.txt``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quality.views import Shown, View, facts, series

__all__ = ["AVERAGED", "FittedMiniRocket", "fit_minirocket"]

AVERAGED = 4


@dataclass(frozen=True, eq=False)
class FittedMiniRocket:
    """Kernels with their thresholds, the scaling of their features, and the ridge classifier."""

    view: View
    kernels: Any
    scaling: Any
    ridge: Any

    def predict(self, shown: Shown) -> NDArray[np.int64]:
        """Class of each section."""
        return np.asarray(
            self.ridge.predict(self.scaling.transform(_features(self.kernels, shown, self.view)))
        )


def fit_minirocket(shown: Shown, view: View, seed: int) -> FittedMiniRocket:
    """Fit as the method's authors do: 10,000 features, scaled, ridge chosen by leave-one-out error.

    References
    ----------
    Dempster, A., Schmidt, D. F., Webb, G. I. (2021). MiniRocket: a very fast (almost) deterministic
    transform for time series classification. KDD '21, 248-257.
    """
    from aeon.transformations.collection.convolution_based import MiniRocket
    from sklearn.linear_model import RidgeClassifierCV
    from sklearn.preprocessing import StandardScaler

    kernels = MiniRocket(random_state=seed, n_jobs=1)
    kernels.fit(series(shown, view, AVERAGED).astype(np.float32))
    scaling = StandardScaler()
    rows = scaling.fit_transform(_features(kernels, shown, view))
    ridge = RidgeClassifierCV(alphas=np.logspace(-3, 3, 10)).fit(rows, shown.written)
    return FittedMiniRocket(view, kernels, scaling, ridge)


def _features(kernels: Any, shown: Shown, view: View) -> NDArray[np.float64]:
    rows = np.asarray(kernels.transform(series(shown, view, AVERAGED).astype(np.float32)), dtype=np.float64)
    return np.concatenate([rows, facts(shown)], axis=1) if view.with_facts else rows

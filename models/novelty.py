"""Whether an indication is unlike every section that the model was trained on.

The distance of an indication is that to the nearest class centre, measured
with the scatter that the classes have in common. Its p-value compares it with
the distances of the training sections, each taken from centres and scatter
that had not seen it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.models.row_kernels import nearest_distances

__all__ = ["NoveltyModel", "Shape", "fit_novelty", "fit_shape", "usable_threshold"]

_NORMAL_IQR = 1.3489795003921634
"""Interquartile range of the standard normal distribution."""


@dataclass(frozen=True, eq=False)
class Shape:
    """Class centres and the whitening of the pooled scatter.

    Parameters
    ----------
    whitening : array of shape (d, d)
        Maps descriptors to where the pooled scatter is round with unit variance.
    centres : array of shape (K, d)
        Class means, whitened.
    """

    whitening: NDArray[np.float64]
    centres: NDArray[np.float64]

    def distances(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the Mahalanobis distance to the nearest class centre, shape (n,); inf on overflow."""
        return nearest_distances(values, self.whitening, self.centres)


def fit_shape(values: NDArray[np.float64], codes: NDArray[np.int64]) -> Shape:
    """Fit class centres and their pooled scatter.

    Descriptors are scaled by their interquartile range, so that a few gross
    values do not set the scale; the pooled covariance is shrunk, so that it can
    be inverted with fewer sections than descriptors.

    Parameters
    ----------
    values : array of shape (n, d)
    codes : int array of shape (n,)

    References
    ----------
    Ledoit and Wolf, "A well-conditioned estimator for large-dimensional
    covariance matrices", J. Multivariate Analysis 88 (2004) 365-411.
    """
    from sklearn.covariance import LedoitWolf
    from threadpoolctl import threadpool_limits

    low, high = np.percentile(values, [25, 75], axis=0)
    scale = (high - low) / _NORMAL_IQR
    spread = values.std(axis=0)
    scale = np.where(scale > 0, scale, np.where(spread > 0, spread, 1.0))
    scaled = values / scale
    means = np.stack([scaled[codes == c].mean(axis=0) for c in np.unique(codes)])
    with threadpool_limits(limits=1):  # the same bytes on one core or two
        pooled = LedoitWolf(assume_centered=True).fit(
            scaled - means[np.unique(codes, return_inverse=True)[1]]
        )
        root = np.linalg.cholesky(pooled.get_precision())
        return Shape(whitening=root / scale[:, None], centres=means @ root)


@dataclass(frozen=True, eq=False)
class NoveltyModel:
    """Shape of the training sections and their own, out-of-fold, distances.

    Parameters
    ----------
    shape : Shape
    distances : array of shape (n,)
        Ascending.
    """

    shape: Shape
    distances: NDArray[np.float64]

    def p_values(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (1 + #{distances >= own}) / (n + 1), shape (n,); NaN where a descriptor is not finite."""
        finite = np.asarray(np.isfinite(values).all(axis=1), dtype=np.bool_)
        own = self.shape.distances(np.where(finite[:, None], values, 0.0))
        at_least = len(self.distances) - np.searchsorted(self.distances, own, side="left")
        return np.asarray(np.where(finite, (1 + at_least) / (len(self.distances) + 1), np.nan))

    def to_document(self) -> dict[str, Any]:
        """Return the JSON content."""
        return {
            "whitening": self.shape.whitening.tolist(),
            "centres": self.shape.centres.tolist(),
            "distances": self.distances.tolist(),
        }

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> NoveltyModel:
        """Rebuild from `to_document`."""
        whitening, centres, distances = (
            np.array(document[key], dtype=np.float64) for key in ("whitening", "centres", "distances")
        )
        return cls(Shape(whitening, centres), distances)


def fit_novelty(
    values: NDArray[np.float64], codes: NDArray[np.int64], folds: NDArray[np.int64]
) -> tuple[NoveltyModel, NDArray[np.float64]]:
    """Fit on all sections, with the distance of each from a shape that had not seen its fold.

    Parameters
    ----------
    values : array of shape (n, d)
    codes, folds : int arrays of shape (n,)

    Returns
    -------
    model : NoveltyModel
    distances : array of shape (n,)
        Out-of-fold, in the order of the rows.
    """
    distances = np.empty(len(values))
    for fold in np.unique(folds):
        here = folds == fold
        distances[here] = fit_shape(values[~here], codes[~here]).distances(values[here])
    return NoveltyModel(fit_shape(values, codes), np.sort(distances)), distances


def usable_threshold(novelty_p: float, sections: int) -> float:
    """Return the p-value below which an indication is novel, given the number of sections.

    The smallest p-value that n sections can give is 1 / (n + 1). With fewer
    sections than `novelty_p` needs nothing would ever be novel, so then an
    indication farther away than every section is: the mild error of the two.

    Examples
    --------
    >>> usable_threshold(0.01, 400)
    0.01
    >>> usable_threshold(0.01, 29)  # p = 1/30 is novel, p = 2/30 is not
    0.05
    """
    smallest = 1 / (sections + 1)
    return novelty_p if novelty_p == 0 or smallest < novelty_p else 1.5 * smallest

"""Multinomial logistic regression on standardised descriptors, kept as a table of coefficients."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.candidate import Candidate, FittedCandidate
from seamtell.models.canonical_json import canonical_json
from seamtell.models.row_kernels import row_products
from seamtell.models.splits import grouped_folds

__all__ = ["INVERSE_PENALTIES", "FittedLogistic", "Logistic"]

INVERSE_PENALTIES = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
"""Values of scikit-learn's ``C`` that the inner cross-validation chooses from."""
_FALLBACK_C = 0.1
_INNER_FOLDS = 3
_MOST_STEPS = 20_000
_LEAST_PROBABILITY = 1e-15


@dataclass(frozen=True, eq=False)
class FittedLogistic(FittedCandidate):
    """``softmax(values @ coefficients + intercepts)``, standardisation included in the coefficients.

    Parameters
    ----------
    coefficients : array of shape (d, K)
    intercepts : array of shape (K,)
    inverse_penalty : float
        The ``C`` that was chosen.
    """

    coefficients: NDArray[np.float64]
    intercepts: NDArray[np.float64]
    inverse_penalty: float

    def predict_proba(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return probabilities of shape (n, K)."""
        logits = row_products(values, self.coefficients) + self.intercepts
        powers = np.exp(logits - logits.max(axis=1, keepdims=True))
        return np.asarray(powers / powers.sum(axis=1, keepdims=True), dtype=np.float64)

    def to_files(self) -> dict[str, bytes]:
        """Return one JSON file."""
        document = {
            "coefficients": self.coefficients.tolist(),
            "intercepts": self.intercepts.tolist(),
            "inverse_penalty": self.inverse_penalty,
        }
        return {"logistic.json": canonical_json(document)}

    @classmethod
    def from_files(cls, files: Mapping[str, bytes]) -> Self:
        """Rebuild from `to_files`."""
        document = json.loads(files["logistic.json"])
        return cls(
            np.array(document["coefficients"], dtype=np.float64),
            np.array(document["intercepts"], dtype=np.float64),
            float(document["inverse_penalty"]),
        )


class Logistic(Candidate):
    """Multinomial logistic regression; the penalty is chosen by grouped cross-validation."""

    name: ClassVar[str] = "logistic"
    fitted: ClassVar[type[FittedCandidate]] = FittedLogistic
    reads_simulated: ClassVar[bool] = True

    def fit(
        self,
        values: NDArray[np.float64],
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],
        names: tuple[str, ...],  # noqa: ARG002
        classes: tuple[str, ...],  # noqa: ARG002
        seed: int,
        groups: NDArray[np.str_] | None = None,
    ) -> FittedLogistic:
        """Fit on standardised descriptors."""
        from sklearn.linear_model import LogisticRegression
        from sklearn.preprocessing import StandardScaler
        from threadpoolctl import threadpool_limits

        together = np.arange(len(codes)).astype(np.str_) if groups is None else groups
        with threadpool_limits(limits=1):  # the same bytes on one core or two
            chosen = _choose_penalty(values, codes, weights, together, seed)
            scaler = StandardScaler().fit(values)
            fitted = LogisticRegression(C=chosen, tol=1e-8, max_iter=_MOST_STEPS)
            fitted.fit(scaler.transform(values), codes, sample_weight=weights)
            slopes, intercepts = fitted.coef_, fitted.intercept_
            if len(slopes) == 1:  # two classes: scikit-learn keeps the second against the first
                slopes, intercepts = np.vstack([0 * slopes, slopes]), np.array([0.0, intercepts[0]])
            coefficients = np.ascontiguousarray((slopes / scaler.scale_).T)
            return FittedLogistic(coefficients, intercepts - scaler.mean_ @ coefficients, chosen)


def _choose_penalty(
    values: NDArray[np.float64],
    codes: NDArray[np.int64],
    weights: NDArray[np.float64],
    groups: NDArray[np.str_],
    seed: int,
) -> float:
    """Return the value at the valley of the cross-validated log loss; the stronger penalty when equal."""
    try:
        folds = grouped_folds(groups, codes, _INNER_FOLDS, seed)
    except SeamtellError:  # a class in one group only: nothing to cross-validate with
        return _FALLBACK_C
    parts = [_InnerFold(values, codes, weights, folds == fold) for fold in np.unique(folds)]
    best, least = _FALLBACK_C, np.inf
    for inverse_penalty in INVERSE_PENALTIES:  # from strong to weak: each starts the next
        loss = sum(part.loss(inverse_penalty) for part in parts)
        if loss >= least:
            break  # the loss has one valley; the weakest penalties take longest and are rarely it
        best, least = inverse_penalty, loss
    return best


class _InnerFold:
    """One fold of the search for the penalty, its model warm from the penalty before."""

    def __init__(
        self,
        values: NDArray[np.float64],
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],
        here: NDArray[np.bool_],
    ) -> None:
        from sklearn.linear_model import LogisticRegression
        from sklearn.preprocessing import StandardScaler

        scaler = StandardScaler().fit(values[~here])
        self._seen, self._unseen = scaler.transform(values[~here]), scaler.transform(values[here])
        self._codes, self._weights, self._here = codes, weights, here
        self._model = LogisticRegression(tol=1e-4, max_iter=_MOST_STEPS, warm_start=True)

    def loss(self, inverse_penalty: float) -> float:
        """Weighted log loss of the fold's own rows, summed."""
        here, model = self._here, self._model.set_params(C=inverse_penalty)
        model.fit(self._seen, self._codes[~here], sample_weight=self._weights[~here])
        own = model.predict_proba(self._unseen)[np.arange(here.sum()), self._codes[here]]
        return float(-(self._weights[here] * np.log(np.clip(own, _LEAST_PROBABILITY, None))).sum())

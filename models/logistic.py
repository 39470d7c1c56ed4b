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
        # einsum and not @: no BLAS, so a row's bits do not depend on threads or on its batch.
        logits = np.einsum("nd,dk->nk", values, self.coefficients) + self.intercepts
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
    """Return the value with the least cross-validated log loss; the stronger penalty when equal."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.preprocessing import StandardScaler

    try:
        folds = grouped_folds(groups, codes, _INNER_FOLDS, seed)
    except SeamtellError:  # a class in one group only: nothing to cross-validate with
        return _FALLBACK_C
    losses = np.empty((len(INVERSE_PENALTIES), len(codes)))
    for fold in np.unique(folds):
        here = folds == fold
        scaler = StandardScaler().fit(values[~here])
        seen, unseen = scaler.transform(values[~here]), scaler.transform(values[here])
        model = LogisticRegression(tol=1e-4, max_iter=_MOST_STEPS, warm_start=True)
        for row, inverse_penalty in enumerate(INVERSE_PENALTIES):  # from strong to weak: each starts the next
            model.set_params(C=inverse_penalty).fit(seen, codes[~here], sample_weight=weights[~here])
            own = model.predict_proba(unseen)[np.arange(here.sum()), codes[here]]
            losses[row, here] = -weights[here] * np.log(np.clip(own, _LEAST_PROBABILITY, None))
    return float(INVERSE_PENALTIES[int(losses.mean(axis=1).argmin())])

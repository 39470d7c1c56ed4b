"""Calibrated probabilities: one temperature and one bias a class.

A candidate is fitted with balanced class weights, so its probabilities leave
out how common each flaw is, and a flexible one is overconfident on few labels.
The temperature mends the second, the biases the first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Calibration", "cross_calibrated", "fit_calibration"]

_LEAST_PROBABILITY = 1e-9
"""Probabilities are clipped here before the logarithm; a candidate may state an exact zero."""
_LOG_TEMPERATURE_SD = 1.0
_BIAS_SD = 3.0
_WIDEST_LOG_TEMPERATURE = 5.0
"""Keeps the search away from overflow; a candidate that says nothing has no best temperature."""


@dataclass(frozen=True)
class Calibration:
    """``softmax(log(p) / temperature + bias)``.

    Parameters
    ----------
    temperature : float
        Above 1 when the candidate is overconfident.
    bias : tuple of float, length K

    References
    ----------
    Alexandari, Kundaje and Shrikumar, "Maximum likelihood with bias-corrected
    calibration is hard-to-beat at label shift adaptation", ICML 2020.
    """

    temperature: float
    bias: tuple[float, ...]

    def apply(self, probabilities: NDArray[np.float64]) -> NDArray[np.float64]:
        """Calibrate probabilities of shape (n, K).

        Examples
        --------
        >>> even = Calibration(temperature=2.0, bias=(0.0, 0.0)).apply(np.array([[0.8, 0.2]]))
        >>> even.round(3).tolist()
        [[0.667, 0.333]]
        """
        return _softmax(_log(probabilities) / self.temperature + np.array(self.bias))

    def to_document(self) -> dict[str, object]:
        """Return the JSON content."""
        return {"temperature": self.temperature, "bias": list(self.bias)}

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Calibration:
        """Rebuild from `to_document`."""
        return cls(float(document["temperature"]), tuple(float(b) for b in document["bias"]))


def fit_calibration(probabilities: NDArray[np.float64], codes: NDArray[np.int64]) -> Calibration:
    """Fit on answers to sections that the candidate had not seen.

    Maximum likelihood with a weak normal prior on the log-temperature (standard
    deviation 1) and on the biases (standard deviation 3): with few sections, or
    with none answered wrong, the likelihood alone has no finite maximum.

    Parameters
    ----------
    probabilities : array of shape (n, K)
        Out-of-fold probabilities.
    codes : int array of shape (n,)
        True class of each row.
    """
    from scipy.optimize import minimize

    logits = _log(probabilities)
    n, k = logits.shape
    truth = np.eye(k)[codes]

    def loss(parameters: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        sharpness, bias = np.exp(-parameters[0]), parameters[1:]
        z = logits * sharpness + bias
        z = z - z.max(axis=1, keepdims=True)
        log_q = z - np.log(np.exp(z).sum(axis=1, keepdims=True))
        residual = np.exp(log_q) - truth
        slope = -(residual * logits).sum() * sharpness + parameters[0] / _LOG_TEMPERATURE_SD**2
        gradient = np.concatenate([[slope], residual.sum(axis=0) + bias / _BIAS_SD**2])
        penalty = 0.5 * (parameters[0] / _LOG_TEMPERATURE_SD) ** 2 + 0.5 * ((bias / _BIAS_SD) ** 2).sum()
        return float(-log_q[truth > 0].sum() + penalty) / n, gradient / n

    bounds = [(-_WIDEST_LOG_TEMPERATURE, _WIDEST_LOG_TEMPERATURE)] + [(None, None)] * k
    options = {"maxiter": 1000, "ftol": 1e-14, "gtol": 1e-9}
    best = minimize(loss, np.zeros(k + 1), jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    return Calibration(float(np.exp(best.x[0])), tuple(float(b) for b in best.x[1:]))


def cross_calibrated(
    probabilities: NDArray[np.float64], codes: NDArray[np.int64], folds: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Calibrate each fold with what the other folds taught, so that no row calibrates itself.

    Parameters
    ----------
    probabilities : array of shape (n, K)
        Out-of-fold probabilities.
    codes, folds : int arrays of shape (n,)

    Returns
    -------
    array of shape (n, K)
    """
    calibrated = np.empty_like(probabilities)
    for fold in np.unique(folds):
        here = folds == fold
        calibrated[here] = fit_calibration(probabilities[~here], codes[~here]).apply(probabilities[here])
    return calibrated


def _log(probabilities: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.log(np.clip(probabilities, _LEAST_PROBABILITY, None)), dtype=np.float64)


def _softmax(logits: NDArray[np.float64]) -> NDArray[np.float64]:
    powers = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(powers / powers.sum(axis=1, keepdims=True), dtype=np.float64)

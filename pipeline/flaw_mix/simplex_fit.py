"""The mix of truths behind a mix of answers: maximum likelihood on the simplex.

A classifier answers ``a`` to truth ``t`` with probability ``C[t, a]``, so production shows
the answers ``q = C' pi``. Solving for ``pi`` can give negative shares; the likelihood under
``pi >= 0`` and ``sum pi = 1`` cannot. It is concave in ``pi`` and climbed by
expectation-maximisation with the squared extrapolation of Varadhan and Roland. With two
classes and two answers the result is that of Rogan and Gladen, cut off at zero and one.

References
----------
Rogan, W. J. and Gladen, B. (1978). Estimating prevalence from the results of a screening
test. American Journal of Epidemiology 107, 71-76.
Saerens, M., Latinne, P. and Decaestecker, C. (2002). Adjusting the outputs of a classifier
to new a priori probabilities: a simple procedure. Neural Computation 14, 21-41.
Varadhan, R. and Roland, C. (2008). Simple and globally convergent methods for accelerating
the convergence of any EM algorithm. Scandinavian Journal of Statistics 35, 335-353.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["mix_on_simplex", "rogan_gladen"]

_MOST_STEPS = 400
_CLOSE = 1e-7
_TINY = 1e-300


def mix_on_simplex(confusion: NDArray[np.float64], answers: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shares of the truths that make the answers most likely.

    Parameters
    ----------
    confusion : array of shape (..., t, a)
        P(answer | truth); rows sum to one.
    answers : array of shape (..., a)
        Shares of the answers.

    Returns
    -------
    array of shape (..., t)
        Each along the last axis sums to one.

    Raises
    ------
    ValueError
        Rows that do not sum to one, or shares below zero.

    Examples
    --------
    >>> print(mix_on_simplex(np.array([[0.9, 0.1], [0.2, 0.8]]), np.array([0.41, 0.59])).round(3))
    [0.3 0.7]
    """
    confusion = np.asarray(confusion, dtype=np.float64)
    answers = np.asarray(answers, dtype=np.float64)
    if not np.allclose(confusion.sum(axis=-1), 1.0) or (answers < 0).any():
        raise ValueError("got rows of P(answer | truth) that do not sum to one, or negative shares")
    shape = np.broadcast_shapes(confusion.shape[:-2], answers.shape[:-1])
    truths = confusion.shape[-2]
    mix = np.full((*shape, truths), 1.0 / truths)
    for _ in range(_MOST_STEPS):
        first = _step(mix, confusion, answers)
        second = _step(first, confusion, answers)
        moved = _extrapolated(mix, first, second)
        following = _step(moved, confusion, answers)
        worse = _likelihood(following, confusion, answers) < _likelihood(second, confusion, answers)
        following = np.where(worse[..., None], second, following)
        change = float(np.abs(following - mix).max(initial=0.0))
        mix = following
        if change < _CLOSE:
            break
    return mix


def rogan_gladen(positive: float, sensitivity: float, specificity: float) -> float:
    """Prevalence behind a share of positive answers, cut off at zero and one.

    Raises
    ------
    ValueError
        The test tells nothing: sensitivity + specificity is one.

    Examples
    --------
    >>> round(rogan_gladen(0.20, 0.90, 0.95), 4)
    0.1765
    """
    youden = sensitivity + specificity - 1.0
    if abs(youden) < 1e-12:
        raise ValueError("got sensitivity + specificity = 1, expected a test that tells something")
    return float(np.clip((positive + specificity - 1.0) / youden, 0.0, 1.0))


def _step(
    mix: NDArray[np.float64], confusion: NDArray[np.float64], answers: NDArray[np.float64]
) -> NDArray[np.float64]:
    expected = np.matmul(mix[..., None, :], confusion)[..., 0, :]
    ratio = answers / np.maximum(expected, _TINY)
    new = mix * np.matmul(confusion, ratio[..., None])[..., 0]
    return np.asarray(new / np.maximum(new.sum(axis=-1, keepdims=True), _TINY))


def _extrapolated(
    mix: NDArray[np.float64], first: NDArray[np.float64], second: NDArray[np.float64]
) -> NDArray[np.float64]:
    r = first - mix
    v = second - first - r
    length = -np.sqrt(
        (r * r).sum(axis=-1, keepdims=True) / np.maximum((v * v).sum(axis=-1, keepdims=True), _TINY)
    )
    length = np.clip(length, -256.0, -1.0)
    moved = mix - 2.0 * length * r + length * length * v
    # A share that the leap takes to nothing could never come back.
    outside = (moved <= 0).any(axis=-1, keepdims=True)
    return np.where(outside, second, moved / np.maximum(moved.sum(axis=-1, keepdims=True), _TINY))


def _likelihood(
    mix: NDArray[np.float64], confusion: NDArray[np.float64], answers: NDArray[np.float64]
) -> NDArray[np.float64]:
    expected = np.matmul(mix[..., None, :], confusion)[..., 0, :]
    return np.asarray((answers * np.log(np.maximum(expected, _TINY))).sum(axis=-1))

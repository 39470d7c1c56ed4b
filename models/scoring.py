"""The candidate table: log loss with its standard error, macro-F1, and the choice."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from seamtell.models.calibration import fit_calibration
from seamtell.models.cross_validation import SizeBandResult

__all__ = ["CandidateScore", "choose", "grouped_mean", "log_losses", "macro_f1", "score_candidates"]

_LEAST_PROBABILITY = 1e-15


@dataclass(frozen=True)
class CandidateScore:
    """One row of the candidate table.

    Parameters
    ----------
    name : str
    log_loss : float
        Mean over the sections, natural logarithm, of cross-calibrated out-of-fold probabilities.
    standard_error : float
        Of the log loss, with sections of one group counted together.
    macro_f1 : float
        Of the most probable label out of fold, before calibration; nothing abstains.
    chosen : bool
    size_band_log_loss, size_band_macro_f1 : float
        The same for sizes that the fit had not seen; NaN when no sizes are known.
    """

    name: str
    log_loss: float
    standard_error: float
    macro_f1: float
    chosen: bool
    size_band_log_loss: float = math.nan
    size_band_macro_f1: float = math.nan


def log_losses(probabilities: NDArray[np.float64], codes: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return minus the logarithm of the probability of the true class, shape (n,)."""
    own = probabilities[np.arange(len(codes)), codes]
    return np.asarray(-np.log(np.clip(own, _LEAST_PROBABILITY, None)), dtype=np.float64)


def grouped_mean(values: NDArray[np.float64], groups: NDArray[np.str_]) -> tuple[float, float]:
    """Return the mean and its standard error when rows of one group go together.

    The cluster-robust standard error with the factor G / (G - 1); with every row
    its own group it is the usual standard error of a mean.

    Examples
    --------
    >>> grouped_mean(np.array([1.0, 2.0, 3.0]), np.array(["a", "b", "c"]))
    (2.0, 0.577...)
    """
    _, member = np.unique(groups, return_inverse=True)
    mean = values.mean()
    sums = np.bincount(member, weights=values - mean)
    g = len(sums)
    return float(mean), float(np.sqrt(g / (g - 1) * (sums**2).sum()) / len(values))


def macro_f1(predicted: NDArray[np.int64], codes: NDArray[np.int64], k: int) -> float:
    """Return the mean F1 over the classes that occur among the truths; 0 for a class never hit."""
    scores = []
    for c in range(k):
        if (codes == c).any():
            hits = ((predicted == c) & (codes == c)).sum()
            scores.append(2 * hits / ((predicted == c).sum() + (codes == c).sum()))
    return float(np.mean(scores))


def score_candidates(
    names: tuple[str, ...],
    out_of_fold: Mapping[str, NDArray[np.float64]],
    calibrated: Mapping[str, NDArray[np.float64]],
    by_size: Mapping[str, SizeBandResult | None],
    codes: NDArray[np.int64],
    groups: NDArray[np.str_],
) -> tuple[CandidateScore, ...]:
    """Score the candidates and mark the chosen one; `names` are simplest first."""
    rows = []
    for name in names:
        raw = out_of_fold[name]
        loss, error = grouped_mean(log_losses(calibrated[name], codes), groups)
        size_loss, size_f1 = _size_scores(raw, by_size[name], codes)
        f1 = macro_f1(raw.argmax(axis=1), codes, raw.shape[1])
        rows.append(CandidateScore(name, loss, error, f1, False, size_loss, size_f1))
    return _marked(tuple(rows))


def _size_scores(
    raw: NDArray[np.float64], result: SizeBandResult | None, codes: NDArray[np.int64]
) -> tuple[float, float]:
    """Score unseen sizes with the calibration of the seen ones: nobody could calibrate on the unseen."""
    if result is None:
        return math.nan, math.nan
    asked, truth = result.probabilities[result.rows], codes[result.rows]
    loss = log_losses(fit_calibration(raw, codes).apply(asked), truth).mean()
    return float(loss), macro_f1(asked.argmax(axis=1), truth, raw.shape[1])


def _marked(rows: tuple[CandidateScore, ...]) -> tuple[CandidateScore, ...]:
    best = min(rows, key=lambda row: row.log_loss)
    reach = best.log_loss + best.standard_error
    winner = next(row.name for row in rows if row.log_loss <= reach)
    return tuple(replace(row, chosen=row.name == winner) for row in rows)


def choose(rows: tuple[CandidateScore, ...]) -> str:
    """Return the name of the chosen candidate: the simplest within one standard error of the best.

    References
    ----------
    Breiman, Friedman, Olshen and Stone, "Classification and Regression Trees"
    (1984), section 3.4.3: the one-standard-error rule.
    """
    return next(row.name for row in rows if row.chosen)

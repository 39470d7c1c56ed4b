"""Macro-F1 over draws of training sections and of the test's seams, and differences on the same draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quality.sections import LABELS
from seamtell.pipeline.evaluation.bootstrap import sums_by_group

__all__ = ["Interval", "Resampling", "f1_by_class", "interval", "resampled"]

_LEVEL = 0.95


@dataclass(frozen=True)
class Interval:
    """An estimate with its 95 % interval."""

    estimate: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.estimate:.3f} ({self.low:.3f}-{self.high:.3f})"


@dataclass(frozen=True)
class Resampling:
    """How the test's seams and the draws of training sections are drawn again."""

    seed: int = 1
    times: int = 4000


def f1_by_class(sums: NDArray[np.float64]) -> NDArray[np.float64]:
    """F1 of each class, shape (..., K), from sums of hits, answers and truths side by side, (..., 3 K)."""
    k = len(LABELS)
    hits, answered, true = sums[..., :k], sums[..., k : 2 * k], sums[..., 2 * k :]
    return np.asarray(2 * hits / np.maximum(answered + true, 1e-12))


def resampled(
    answers: Mapping[str, Sequence[NDArray[np.int64]]],
    truths: NDArray[np.int64],
    seams: NDArray[np.str_],
    how: Resampling = Resampling(),
) -> dict[str, tuple[float, NDArray[np.float64]]]:
    """Mean macro-F1 over the draws, and its values when seams and draws are drawn with replacement.

    All methods see the same resamples, so that the difference of two has the interval of a paired
    comparison.

    Parameters
    ----------
    answers : mapping of str to sequence of int arrays of shape (n,)
        Answers of each method to the test, one array a draw of training sections.
    truths : int array of shape (n,)
    seams : str array of shape (n,)
    """
    rng = np.random.default_rng(how.seed)
    groups, draws = len(np.unique(seams)), len(next(iter(answers.values())))
    seam_weights = rng.multinomial(groups, np.full(groups, 1 / groups), size=how.times).astype(np.float64)
    draw_weights = rng.multinomial(draws, np.full(draws, 1 / draws), size=how.times) / draws
    result = {}
    for name, of_draws in answers.items():
        sums = [sums_by_group(_counts(found, truths), seams) for found in of_draws]
        whole = np.mean([f1_by_class(one.sum(axis=0)).mean() for one in sums])
        again = np.stack([f1_by_class(seam_weights @ one).mean(axis=1) for one in sums], axis=1)
        result[name] = float(whole), np.asarray((again * draw_weights).sum(axis=1))
    return result


def interval(estimate: float, values: NDArray[np.float64]) -> Interval:
    """Percentile interval."""
    low, high = np.quantile(values, [(1 - _LEVEL) / 2, (1 + _LEVEL) / 2])
    return Interval(estimate, float(low), float(high))


def _counts(found: NDArray[np.int64], truths: NDArray[np.int64]) -> NDArray[np.float64]:
    one_hot = np.eye(len(LABELS))
    return np.concatenate([one_hot[found] * one_hot[truths], one_hot[found], one_hot[truths]], axis=1)

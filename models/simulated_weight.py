"""How much simulated flaws count beside sections: chosen by the sections, in cross-validation.

A weight of 0 is training without physics. The weight of a candidate is the
smallest one whose out-of-fold log loss on sections is no more than half a
standard error above the best. The error is that of the paired difference,
section by section, so a weight that helps every section a little is found, and
one that helps a few by luck is not.

The loss of a section is the mean of two: asked when its coil was unseen, and
asked when its coil and its third of the sizes were. The next flaws of a shop
are of sizes between the two, and sizes never cut are what physics is for; on
seen sizes alone it is turned down where it would have helped most.

Why half an error. A whole one turns down right physics where sections are few,
which is where it is needed. In simulated problems (logistic regression, eight
shops of five and of ten sections a class) it gave back 10 and 23 % of the log
loss that right physics had won, and with wrong physics, classes swapped, it did
no better than half an error; no margin at all did clearly worse there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.models.calibration import fit_calibration
from seamtell.models.candidates import CANDIDATES
from seamtell.models.cross_validation import SizeBandResult, cross_validate, size_band_validate
from seamtell.models.labelled_table import LabelledTable
from seamtell.models.scoring import grouped_mean, log_losses
from seamtell.models.simulated_rows import SimulatedRows

__all__ = ["REACH", "WEIGHTS", "WeightedAnswers", "choose_weight", "weighted_cross_validate"]

WEIGHTS = (0.0, 0.3, 1.0, 3.0, 10.0)
"""Tried for each candidate: what the simulated flaws of a class count, as multiples of its sections.

Evenly spaced on a log scale, half a decade apart: with 10, five sections of a
class are one eleventh of what the fit sees of it."""
REACH = 0.5
"""In standard errors of the paired difference."""


@dataclass(frozen=True, eq=False)
class WeightedAnswers:
    """Out-of-fold answers of one candidate with its simulated flaws weighed.

    Parameters
    ----------
    out_of_fold : array of shape (n, K)
        Uncalibrated; each fold with the weight that the other folds prefer.
    weight : float
        What all folds prefer: for the final fit.
    fold_weights : mapping of int to float
        What the others of each fold prefer.
    losses : mapping of float to float
        Mean calibrated out-of-fold log loss with each weight, seen and unseen sizes alike.
    by_size : SizeBandResult or None
        Answers at unseen sizes, each fold with the weight that the other folds prefer.
    """

    out_of_fold: NDArray[np.float64]
    weight: float
    fold_weights: Mapping[int, float]
    losses: Mapping[float, float]
    by_size: SizeBandResult | None


def choose_weight(losses: Mapping[float, NDArray[np.float64]], groups: NDArray[np.str_]) -> float:
    """Return the smallest weight within `REACH` standard errors of the paired difference to the best.

    Parameters
    ----------
    losses : mapping of float to array of shape (n,)
        Out-of-fold log loss of each section, by weight.
    groups : str array of shape (n,)
        Sections of one group count together in the standard error.

    Examples
    --------
    >>> groups = np.array(["a", "b", "c", "d"])
    >>> helps = {0.0: np.array([1.0, 1.1, 0.9, 1.2]), 1.0: np.array([0.4, 0.5, 0.5, 0.6])}
    >>> choose_weight(helps, groups)
    1.0
    >>> helps_one = {0.0: np.array([1.0, 1.1, 0.9, 1.2]), 1.0: np.array([1.2, 1.3, 1.1, 0.1])}
    >>> choose_weight(helps_one, groups)
    0.0
    """
    if len(np.unique(groups)) < 2:
        return min(losses)  # one coil has no standard error, and no say
    best = min(sorted(losses), key=lambda weight: float(losses[weight].mean()))
    for weight in sorted(losses):
        worse, error = grouped_mean(losses[weight] - losses[best], groups)
        if weight == best or worse <= REACH * error:
            return weight
    raise AssertionError("the best weight is among the weights")


def weighted_cross_validate(
    name: str,
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    folds: NDArray[np.int64],
    seed: int,
    simulated: SimulatedRows | None,
) -> WeightedAnswers:
    """Cross-validate one candidate with every weight and let the sections choose.

    No section has a say in the weight that it is answered with: each fold gets
    what the sections of the other folds prefer.

    Parameters
    ----------
    simulated : SimulatedRows or None
        None, or a candidate that reads no simulated flaws: the only weight is 0.
    """
    reads = simulated is not None and len(simulated) > 0 and CANDIDATES[name].reads_simulated
    numbers = np.unique(folds).tolist()
    answers: dict[float, _Answers] = {}
    for weight in WEIGHTS if reads else WEIGHTS[:1]:
        seen = cross_validate(name, table, codes, classes, folds, seed, simulated, weight)
        by_size = size_band_validate(name, table, codes, classes, folds, seed, simulated, weight)
        answers[weight] = _Answers(seen, by_size)
    if not reads:
        alone = answers[0.0]
        return WeightedAnswers(alone.seen, 0.0, dict.fromkeys(numbers, 0.0), {}, alone.by_size)
    losses = _losses(answers, codes, folds, np.ones(len(codes), dtype=bool))
    fold_weights = {
        fold: choose_weight(_losses(answers, codes, folds, folds != fold), table.groups[folds != fold])
        for fold in numbers
    }
    return WeightedAnswers(
        out_of_fold=_by_fold({w: a.seen for w, a in answers.items()}, folds, fold_weights),
        weight=choose_weight(losses, table.groups),
        fold_weights=fold_weights,
        losses={weight: float(loss.mean()) for weight, loss in losses.items()},
        by_size=_sizes_by_fold(answers, folds, fold_weights),
    )


@dataclass(frozen=True, eq=False)
class _Answers:
    """Out-of-fold answers with one weight: sizes seen, and sizes unseen."""

    seen: NDArray[np.float64]
    by_size: SizeBandResult | None


def _by_fold(
    answers: Mapping[float, NDArray[np.float64]], folds: NDArray[np.int64], fold_weights: Mapping[int, float]
) -> NDArray[np.float64]:
    chosen = np.empty_like(answers[0.0])
    for fold, weight in fold_weights.items():
        chosen[folds == fold] = answers[weight][folds == fold]
    return chosen


def _sizes_by_fold(
    answers: Mapping[float, _Answers], folds: NDArray[np.int64], fold_weights: Mapping[int, float]
) -> SizeBandResult | None:
    by_size = {weight: one.by_size for weight, one in answers.items() if one.by_size is not None}
    if not by_size:
        return None
    probabilities = _by_fold({w: one.probabilities for w, one in by_size.items()}, folds, fold_weights)
    asked = np.asarray(np.isfinite(probabilities).all(axis=1), dtype=np.bool_)
    return SizeBandResult(asked, probabilities)


def _losses(
    answers: Mapping[float, _Answers],
    codes: NDArray[np.int64],
    folds: NDArray[np.int64],
    rows: NDArray[np.bool_],
) -> dict[float, NDArray[np.float64]]:
    """Loss of each of `rows`, by weight: the mean over seen and unseen sizes, where there are both.

    Each fold is calibrated on the seen sizes of the other folds among `rows`.
    """
    truth, own_folds = codes[rows], folds[rows]
    losses = {}
    for weight, answer in answers.items():
        seen = answer.seen[rows]
        unseen = None if answer.by_size is None else answer.by_size.probabilities[rows]
        total = np.empty(len(truth))
        for fold in np.unique(own_folds):
            here = own_folds == fold
            # Of two folds one may be left: its own calibration then flatters all weights alike.
            teach = ~here if (~here).any() else here
            calibration = fit_calibration(seen[teach], truth[teach])
            total[here] = log_losses(calibration.apply(seen[here]), truth[here])
            if unseen is not None:
                asked = here & np.isfinite(unseen).all(axis=1)
                at_unseen = log_losses(calibration.apply(unseen[asked]), truth[asked])
                total[asked] = (total[asked] + at_unseen) / 2
        losses[weight] = total
    return losses

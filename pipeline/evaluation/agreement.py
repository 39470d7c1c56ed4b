"""Agreement of truth and answer: macro-F1, Cohen's kappa, log loss, each from additive sums.

References
----------
Cohen, J. (1960). A coefficient of agreement for nominal scales. Educational and
Psychological Measurement 20, 37-46.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, grouped_bootstrap, sums_by_group
from seamtell.pipeline.evaluation.result import Estimate

__all__ = [
    "LOG_LOSS_FLOOR",
    "Agreement",
    "cohen_kappa",
    "log_loss_rows",
    "macro_f1",
    "score_agreement",
    "score_log_loss",
]

LOG_LOSS_FLOOR = 1e-15
"""Least probability that the log loss reads: one sure mistake must not make it infinite."""


def macro_f1(tables: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean F1 over the classes that have sections.

    Parameters
    ----------
    tables : array of shape (b, k, m)
        Counts, truth in rows, answer in columns; the first k columns are the classes
        of the rows, further ones (no label, missed) are wrong for every class.

    Returns
    -------
    array of shape (b,)
        NaN where no class has a section.

    Examples
    --------
    >>> macro_f1(np.array([[[2.0, 0.0], [1.0, 1.0]]])).round(3)
    array([0.733])
    """
    right = np.diagonal(tables, axis1=1, axis2=2)
    true = tables.sum(axis=2)
    called = tables.sum(axis=1)[:, : tables.shape[1]]
    present = true > 0
    f1 = 2 * right / np.where(present, true + called, 1.0)
    count = present.sum(axis=1)
    mean = np.where(present, f1, 0.0).sum(axis=1) / np.maximum(count, 1)
    return np.where(count > 0, mean, np.nan)


def _chance(tables: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of agreement that the margins alone give, shape (b,); 0 for an empty table."""
    total = tables.sum(axis=(1, 2))
    called = tables.sum(axis=1)[:, : tables.shape[1]]
    both = (tables.sum(axis=2) * called).sum(axis=1)
    return np.asarray(both / np.where(total > 0, total, 1.0) ** 2)


def cohen_kappa(tables: NDArray[np.float64]) -> NDArray[np.float64]:
    """Agreement beyond chance.

    Parameters
    ----------
    tables : array of shape (b, k, m)
        As for `macro_f1`; further columns agree with no row.

    Returns
    -------
    array of shape (b,)
        NaN where chance alone agrees fully (one class only) or nothing was counted.

    Examples
    --------
    >>> cohen_kappa(np.array([[[20.0, 5.0], [10.0, 15.0]]])).round(2)
    array([0.4])
    """
    total = tables.sum(axis=(1, 2))
    safe = np.where(total > 0, total, 1.0)
    observed = np.trace(tables, axis1=1, axis2=2) / safe
    chance = _chance(tables)
    defined = (total > 0) & (chance < 1 - 1e-12)
    return np.where(defined, (observed - chance) / np.where(defined, 1 - chance, 1.0), np.nan)


def log_loss_rows(
    truths: Sequence[str] | NDArray[np.str_], probabilities: NDArray[np.float64], classes: Sequence[str]
) -> NDArray[np.float64]:
    """Negative log of the probability given to the truth, shape (n,); NaN for a class not in `classes`."""
    column = {name: k for k, name in enumerate(classes)}
    codes = np.array([column.get(str(truth), -1) for truth in truths], dtype=np.int64)
    loss = np.full(len(codes), np.nan)
    known = codes >= 0
    given = probabilities[np.flatnonzero(known), codes[known]]
    loss[known] = -np.log(np.clip(given, LOG_LOSS_FLOOR, 1.0))
    return loss


@dataclass(frozen=True)
class Agreement:
    """Macro-F1 and kappa of one set of answers."""

    macro_f1: Estimate
    kappa: Estimate


def score_agreement(
    truths: NDArray[np.str_],
    answers: NDArray[np.str_],
    groups: NDArray[np.str_],
    classes: Sequence[str],
    plan: Plan,
) -> Agreement:
    """Macro-F1 and kappa with grouped bootstrap intervals.

    Parameters
    ----------
    truths, answers, groups : arrays of shape (n,)
        An answer outside `classes` (``unclassified``, ``missed``) is wrong for every class.
    classes : sequence of str
        All classes; those without a section do not count in the mean.
    plan : Plan
        Resampling.
    """
    k = len(classes)
    code = {name: i for i, name in enumerate(classes)}
    rows = np.array([code[str(truth)] for truth in truths], dtype=np.int64)
    columns = np.array([code.get(str(answer), k) for answer in answers], dtype=np.int64)
    cells = np.zeros((len(rows), k * (k + 1)))
    cells[np.arange(len(rows)), rows * (k + 1) + columns] = 1.0
    sums = sums_by_group(cells, groups)
    groups_of_class = [len(np.unique(groups[rows == i])) for i in range(k) if np.any(rows == i)]
    units = min(groups_of_class, default=0)
    macro = grouped_bootstrap(
        sums,
        lambda s: macro_f1(s.reshape(len(s), k, k + 1)),
        plan,
        n=len(rows),
        bounds=Bounds(0.0, 1.0),
        units=units,
    )
    chance = min(float(_chance(sums.sum(axis=0).reshape(1, k, k + 1))[0]), 1 - 1e-9)
    # Without any agreement, at the margins seen, kappa is -chance / (1 - chance).
    kappa = grouped_bootstrap(
        sums,
        lambda s: cohen_kappa(s.reshape(len(s), k, k + 1)),
        plan,
        n=len(rows),
        bounds=Bounds(-chance / (1 - chance), 1.0),
        units=units,
    )
    return Agreement(macro, kappa)


def score_log_loss(losses: NDArray[np.float64], groups: NDArray[np.str_], plan: Plan) -> Estimate:
    """Mean of `losses` (n,) with a grouped bootstrap interval; NaN rows are left out."""
    known = np.isfinite(losses)
    sums = sums_by_group(np.column_stack([losses[known], np.ones(known.sum())]), groups[known])
    return grouped_bootstrap(sums, lambda s: s[:, 0] / np.maximum(s[:, 1], 1e-300), plan, n=int(known.sum()))

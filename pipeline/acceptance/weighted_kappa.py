"""Cohen's weighted kappa: agreement beyond chance where some mistakes are worse than others.

The weights are the costs of the cost table, so that calling a lack of fusion sound weighs
more than calling a pinhole an edge notch. Linear and quadratic weights are here too, for
classes that have an order.

References
----------
Cohen, J. (1968). Weighted kappa: nominal scale agreement with provision for scaled
disagreement or partial credit. Psychological Bulletin 70, 213-220.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.cost_table import CostTable, cost_matrix
from seamtell.pipeline.acceptance.small_sample import expanded_bootstrap
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, sums_by_group
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS, Estimate

__all__ = [
    "cost_weighted_kappa",
    "linear_weights",
    "quadratic_weights",
    "score_weighted_kappa",
    "weighted_kappa",
]


def linear_weights(classes: int) -> NDArray[np.float64]:
    """Disagreement as the distance of the classes, shape (k, k)."""
    places = np.arange(classes, dtype=np.float64)
    return np.asarray(np.abs(places[:, None] - places[None, :]))


def quadratic_weights(classes: int) -> NDArray[np.float64]:
    """Disagreement as the squared distance of the classes, shape (k, k)."""
    return linear_weights(classes) ** 2


def _expected(tables: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean weight of the disagreement that the margins alone give, shape (b,)."""
    total = tables.sum(axis=(1, 2))
    by_chance = np.einsum("bi,ij,bj->b", tables.sum(axis=2), weights, tables.sum(axis=1))
    return np.asarray(by_chance / np.where(total > 0, total, 1.0) ** 2)


def weighted_kappa(tables: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Agreement beyond chance, each disagreement with its weight.

    Parameters
    ----------
    tables : array of shape (b, k, m)
        Counts, truth in rows, answer in columns.
    weights : array of shape (k, m)
        Weight of each disagreement, 0 for agreement; only ratios matter.

    Returns
    -------
    array of shape (b,)
        NaN where chance alone gives no disagreement, or nothing was counted.

    Examples
    --------
    >>> weighted_kappa(np.array([[[20.0, 5.0], [10.0, 15.0]]]), np.array([[0.0, 1.0], [1.0, 0.0]])).round(2)
    array([0.4])
    """
    total = tables.sum(axis=(1, 2))
    observed = np.einsum("bij,ij->b", tables, weights) / np.where(total > 0, total, 1.0)
    expected = _expected(tables, weights)
    defined = (total > 0) & (expected > 1e-12)
    return np.where(defined, 1 - observed / np.where(defined, expected, 1.0), np.nan)


def _dearest(weights: NDArray[np.float64], present: NDArray[np.int64]) -> NDArray[np.float64]:
    """One imagined section with the heaviest disagreement that the classes present can have, (1, k * m)."""
    here = np.zeros_like(weights)
    here[present] = weights[present]
    heaviest = (here == here.max()) & (here > 0)
    return np.asarray((heaviest / max(1, heaviest.sum())).reshape(1, -1))


def score_weighted_kappa(
    truths: NDArray[np.str_],
    answers: NDArray[np.str_],
    groups: NDArray[np.str_],
    weights: NDArray[np.float64],
    plan: Plan,
    *,
    rows: Sequence[str] = MATRIX_ROWS,
    columns: Sequence[str] = MATRIX_COLUMNS,
) -> Estimate:
    """Weighted kappa with its grouped bootstrap interval, expanded for few groups.

    Parameters
    ----------
    truths, answers, groups : arrays of shape (n,)
        Truths among `rows`, answers among `columns`.
    weights : array of shape (k, m)
        In the order of `rows` and `columns`.
    plan : Plan
        Resampling.
    """
    k, m = weights.shape
    row, column = ({name: i for i, name in enumerate(names)} for names in (rows, columns))
    true = np.array([row[str(truth)] for truth in truths], dtype=np.int64)
    called = np.array([column[str(answer)] for answer in answers], dtype=np.int64)
    cells = np.zeros((len(true), k * m))
    cells[np.arange(len(true)), true * m + called] = 1.0
    sums = sums_by_group(cells, groups)
    chance = float(_expected(sums.sum(axis=0).reshape(1, k, m), weights)[0])
    # The worst that can be: every section with the heaviest disagreement, at the margins seen.
    worst = 1 - float(weights.max()) / chance if chance > 1e-12 else 0.0
    return expanded_bootstrap(
        sums,
        lambda s: weighted_kappa(s.reshape(len(s), k, m), weights),
        plan,
        n=len(true),
        bounds=Bounds(worst, 1.0),
        units=min((len(np.unique(groups[true == i])) for i in np.unique(true)), default=0),
        imagined=_dearest(weights, np.unique(true)),
    )


def cost_weighted_kappa(
    truths: NDArray[np.str_],
    answers: NDArray[np.str_],
    groups: NDArray[np.str_],
    table: CostTable,
    plan: Plan,
) -> Estimate:
    """Weighted kappa with the costs of `table` as weights."""
    return score_weighted_kappa(truths, answers, groups, cost_matrix(table), plan)

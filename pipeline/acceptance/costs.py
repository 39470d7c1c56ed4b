"""What answers cost per 1,000 indications, over the least probability that a label needs.

A threshold acts on labels only: below it an indication gets no label and the limit rule
speaks alone. At no threshold does a label, or its absence, change what the limit rule
rejects; the costs choose when the classifier speaks, never what is released.

The threshold that looks best on some sections looks better than it is on exactly these.
The stated cost is therefore cross-fitted: each group of sections is counted at the threshold
that is best on all other groups. The curve is as seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.pipeline.acceptance.cost_table import CostTable, cost_matrix, cost_rows
from seamtell.pipeline.acceptance.record import CostCurve, CostFigures
from seamtell.pipeline.acceptance.small_sample import expanded_bootstrap
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, sums_by_group
from seamtell.pipeline.evaluation.intervals import unknown
from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["PER", "THRESHOLDS", "answers_at", "candidate_costs", "cost_curve", "mean_cost"]

PER = 1000.0
"""Costs are stated per so many indications."""

THRESHOLDS: tuple[float, ...] = tuple(round(0.05 * step, 2) for step in range(21))
"""Least probabilities tried: 0 labels every indication, 1 next to none."""


def _forced(
    probabilities: NDArray[np.float64], classes: Sequence[str]
) -> tuple[NDArray[np.str_], NDArray[np.float64]]:
    """Label of highest probability and that probability (-inf where there is none), shape (n,) each."""
    known = np.asarray(np.isfinite(probabilities).all(axis=1))
    safe = np.where(known[:, None], probabilities, 0.0)
    labels = np.array(classes, dtype=object)[np.argmax(safe, axis=1)].astype(str)
    return labels, np.where(known, safe.max(axis=1), -np.inf)


def answers_at(
    threshold: float, probabilities: NDArray[np.float64], classes: Sequence[str]
) -> NDArray[np.str_]:
    """Labels of highest probability where it reaches `threshold`, else ``unclassified``; shape (n,).

    Examples
    --------
    >>> answers_at(0.6, np.array([[0.7, 0.3], [0.5, 0.5]]), ["pinhole", "sound"]).tolist()
    ['pinhole', 'unclassified']
    """
    labels, top = _forced(probabilities, classes)
    return np.where(top >= threshold, labels, UNCLASSIFIED).astype(str)


def _costs_by_threshold(
    table: CostTable, truths: NDArray[np.str_], probabilities: NDArray[np.float64], classes: Sequence[str]
) -> NDArray[np.float64]:
    """Cost of each section at each threshold, shape (n, n_thresholds)."""
    labels, top = _forced(probabilities, classes)
    labelled = cost_rows(table, truths, labels)
    silent = cost_rows(table, truths, np.full(len(truths), UNCLASSIFIED))
    return np.where(top[:, None] >= np.array(THRESHOLDS), labelled[:, None], silent[:, None])


def _best(costs: NDArray[np.float64]) -> NDArray[np.int64]:
    """Place of the cheapest threshold of each row; the lowest of equals, rounding aside."""
    cheapest = costs.min(axis=1, keepdims=True)
    return np.asarray(np.argmax(costs <= cheapest + 1e-9 * (1 + np.abs(cheapest)), axis=1))


def cost_curve(
    table: CostTable, truths: NDArray[np.str_], probabilities: NDArray[np.float64], classes: Sequence[str]
) -> CostCurve:
    """Mean cost per 1,000 indications as seen, over the thresholds.

    Parameters
    ----------
    truths : array of shape (n,)
        What the sections of the indications found; n at least 1.
    probabilities : array of shape (n, k)
        Calibrated; a row of NaN gets no label at any threshold.
    classes : sequence of str, length k
    """
    costs = _costs_by_threshold(table, truths, probabilities, classes)
    return CostCurve(thresholds=THRESHOLDS, per_1000=tuple(float(c) for c in PER * costs.mean(axis=0)))


def mean_cost(costs: NDArray[np.float64], groups: NDArray[np.str_], table: CostTable, plan: Plan) -> Estimate:
    """Mean of `costs` (n,) per 1,000 with its grouped bootstrap interval, expanded for few groups.

    The interval imagines one more section with the dearest mistake of the table: a rare, dear
    mistake is absent from most small samples.
    """
    dearest = float(cost_matrix(table).max())
    sums = sums_by_group(np.column_stack([costs, np.ones(len(costs))]), groups)
    return expanded_bootstrap(
        sums,
        lambda s: PER * s[:, 0] / np.maximum(s[:, 1], 1e-300),
        plan,
        n=len(costs),
        bounds=Bounds(0.0, PER * dearest),
        imagined=np.array([[dearest, 1.0]]),
    )


def _cross_fitted(costs: NDArray[np.float64], groups: NDArray[np.str_]) -> NDArray[np.float64]:
    """Cost of each section at the threshold that is best on the other groups, shape (n,)."""
    sums = sums_by_group(costs, groups)
    best = _best(sums.sum(axis=0)[None, :] - sums)
    group = np.unique(groups, return_inverse=True)[1]
    return np.asarray(costs[np.arange(len(costs)), best[group]])


def candidate_costs(
    table: CostTable,
    truths: NDArray[np.str_],
    candidates: Mapping[str, NDArray[np.float64]],
    classes: Sequence[str],
    groups: NDArray[np.str_],
    *,
    chosen: str,
    plan: Plan,
) -> tuple[CostFigures, ...]:
    """Cost curve, best threshold and cross-fitted cost of every candidate, in the order given.

    Parameters
    ----------
    table : CostTable
    truths, groups : arrays of shape (n,)
        Of the indicated sections. The costs hold for their mix of flaws, which targeted
        cutting shifts towards flaws.
    candidates : mapping of str to array of shape (n, k)
        Calibrated probabilities on the same sections.
    classes : sequence of str, length k
    chosen : str
        The candidate that the model answers with.
    plan : Plan
        Resampling.
    """
    if len(truths) == 0:
        return ()
    figures = []
    for name, probabilities in candidates.items():
        costs = _costs_by_threshold(table, truths, probabilities, classes)
        if len(np.unique(groups)) < 2:
            per_1000 = unknown("all sections are of one group", n=len(costs), level=plan.level)
        else:
            figure = mean_cost(_cross_fitted(costs, groups), groups, table, plan)
            method = f"{figure.method}; threshold chosen on the other groups"
            per_1000 = figure.model_copy(update={"method": method})
        curve = cost_curve(table, truths, probabilities, classes)
        figures.append(
            CostFigures(
                candidate=name,
                chosen=name == chosen,
                per_1000=per_1000,
                best_threshold=THRESHOLDS[int(_best(costs.mean(axis=0)[None, :])[0])],
                curve=curve,
            )
        )
    return tuple(figures)

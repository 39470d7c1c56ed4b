"""The model against a rival on the same sections: the limit rule, or the approved model.

Both answer the same sections, so only the sections where they differ say anything. The
exact McNemar test takes sections as independent; the interval of the difference resamples
whole groups. *Not inferior* means that the interval excludes a loss beyond the margin; a
high p-value alone never means it.

References
----------
McNemar, Q. (1947). Note on the sampling error of the difference between correlated
proportions or percentages. Psychometrika 12, 153-157 (here with the exact binomial).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.pipeline.acceptance.cost_table import CostTable, cost_matrix, cost_rows
from seamtell.pipeline.acceptance.costs import PER
from seamtell.pipeline.acceptance.record import Comparison, Rival
from seamtell.pipeline.acceptance.small_sample import expanded_bootstrap
from seamtell.pipeline.evaluation.agreement import macro_f1
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, sums_by_group
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS, MISSED, Estimate

__all__ = [
    "Against",
    "PairedAnswers",
    "compare_detected",
    "compare_expected_cost",
    "compare_macro_f1",
    "compare_right",
    "exact_mcnemar",
    "is_right",
    "limit_rule_answers",
]


@dataclass(frozen=True)
class Against:
    """What the model is compared with, and the greatest loss allowed by figure."""

    rival: Rival
    model_id: str = ""
    """Of the approved model; empty for the limit rule."""
    margins: Mapping[str, float] = field(default_factory=dict)
    """By figure (``right``, ``detected``, ``macro_f1``, ``expected_cost``), in its unit; none: no verdict."""


@dataclass(frozen=True, eq=False)
class PairedAnswers:
    """Two answers to the same sections; all arrays of shape (n,).

    An answer is a label, ``unclassified`` or ``missed``.
    """

    truths: NDArray[np.str_]
    model: NDArray[np.str_]
    rival: NDArray[np.str_]
    groups: NDArray[np.str_]


def limit_rule_answers(exceeded: NDArray[np.bool_]) -> NDArray[np.str_]:
    """Answers of the limit rule: it detects without a name, or it is silent; shape (n,)."""
    return np.where(exceeded, UNCLASSIFIED, MISSED).astype(str)


def is_right(truths: NDArray[np.str_], answers: NDArray[np.str_]) -> NDArray[np.bool_]:
    """Whether each answer names the truth; silence at a sound place is right too."""
    return np.asarray((answers == truths) | ((truths == Flaw.SOUND.value) & (answers == MISSED)))


def exact_mcnemar(only_model: int, only_rival: int) -> float:
    """Two-sided exact p-value that neither is right more often than the other.

    Examples
    --------
    >>> exact_mcnemar(5, 0), exact_mcnemar(0, 0)
    (0.0625, 1.0)
    """
    from scipy.stats import binom

    if only_model < 0 or only_rival < 0:
        raise ValueError(f"got {only_model} and {only_rival} sections, expected no negative number")
    differing = only_model + only_rival
    return min(1.0, 2.0 * float(binom.cdf(min(only_model, only_rival), differing, 0.5)))


def _compared(
    against: Against,
    figure: str,
    difference: Estimate,
    *,
    n: int,
    more_is_better: bool = True,
    pair: tuple[NDArray[np.bool_], NDArray[np.bool_]] | None = None,
) -> Comparison:
    margin = against.margins.get(figure)
    non_inferior = None
    if margin is not None:
        if margin < 0:
            raise ValueError(f"got a margin of {margin:g} for {figure}, expected 0 or more")
        # A difference without an interval is unknown, and unknown never passes.
        worst = difference.low if more_is_better else difference.high
        non_inferior = worst is not None and (worst >= -margin if more_is_better else worst <= margin)
    counts = None if pair is None else (int((pair[0] & ~pair[1]).sum()), int((pair[1] & ~pair[0]).sum()))
    return Comparison(
        rival=against.rival,
        model_id=against.model_id,
        figure=figure,
        sections=n,
        only_model=None if counts is None else counts[0],
        only_rival=None if counts is None else counts[1],
        p_exact=None if counts is None or n == 0 else exact_mcnemar(*counts),
        difference=difference,
        margin=margin,
        non_inferior=non_inferior,
    )


def _mean_difference(
    model: NDArray[np.float64],
    rival: NDArray[np.float64],
    groups: NDArray[np.str_],
    plan: Plan,
    reach: float,
) -> Estimate:
    """Mean of model less rival; one section that is all one way and one all the other are imagined."""
    values = np.column_stack([model - rival, np.ones(len(model))])
    return expanded_bootstrap(
        sums_by_group(values, groups),
        lambda s: s[:, 0] / np.maximum(s[:, 1], 1e-300),
        plan,
        n=len(model),
        bounds=Bounds(-reach, reach),
        imagined=np.array([[reach, 1.0], [-reach, 1.0]]),
    )


def _compare_shares(
    figure: str,
    model: NDArray[np.bool_],
    rival: NDArray[np.bool_],
    groups: NDArray[np.str_],
    against: Against,
    plan: Plan,
) -> Comparison:
    difference = _mean_difference(model.astype(float), rival.astype(float), groups, plan, reach=1.0)
    return _compared(against, figure, difference, n=len(model), pair=(model, rival))


def compare_right(pairs: PairedAnswers, against: Against, plan: Plan) -> Comparison:
    """Share of sections answered right, with the exact McNemar test."""
    model, rival = is_right(pairs.truths, pairs.model), is_right(pairs.truths, pairs.rival)
    return _compare_shares("right", model, rival, pairs.groups, against, plan)


def compare_detected(
    model: NDArray[np.bool_],
    rival: NDArray[np.bool_],
    groups: NDArray[np.str_],
    against: Against,
    plan: Plan,
) -> Comparison:
    """Share of flaw sections detected, with the exact McNemar test; arrays of shape (n_flaws,)."""
    return _compare_shares("detected", model, rival, groups, against, plan)


def _cells(truths: NDArray[np.str_], answers: NDArray[np.str_]) -> NDArray[np.float64]:
    k, m = len(MATRIX_ROWS), len(MATRIX_COLUMNS)
    places = [
        MATRIX_ROWS.index(str(truth)) * m + MATRIX_COLUMNS.index(str(answer))
        for truth, answer in zip(truths, answers, strict=True)
    ]
    cells = np.zeros((len(places), k * m))
    cells[np.arange(len(places)), places] = 1.0
    return cells


def _imagined_pair(truths: NDArray[np.str_]) -> NDArray[np.float64]:
    """One section on which the model alone is right and one for the rival alone, spread over the classes."""
    present = sorted(set(truths.tolist()))
    right = _cells(np.array(present), np.array(present)).mean(axis=0)
    silent = _cells(np.array(present), np.full(len(present), UNCLASSIFIED)).mean(axis=0)
    return np.array([np.concatenate([right, silent]), np.concatenate([silent, right])])


def compare_macro_f1(pairs: PairedAnswers, against: Against, plan: Plan) -> Comparison:
    """Macro-F1 over the classes that have sections."""
    k, m = len(MATRIX_ROWS), len(MATRIX_COLUMNS)

    def difference(sums: NDArray[np.float64]) -> NDArray[np.float64]:
        both = sums.reshape(len(sums), 2, k, m)
        return macro_f1(both[:, 0]) - macro_f1(both[:, 1])

    values = np.hstack([_cells(pairs.truths, pairs.model), _cells(pairs.truths, pairs.rival)])
    interval = expanded_bootstrap(
        sums_by_group(values, pairs.groups),
        difference,
        plan,
        n=len(values),
        bounds=Bounds(-1.0, 1.0),
        imagined=_imagined_pair(pairs.truths) if len(values) else None,
    )
    return _compared(against, "macro_f1", interval, n=len(values))


def compare_expected_cost(pairs: PairedAnswers, table: CostTable, against: Against, plan: Plan) -> Comparison:
    """Cost per 1,000 sections by the cost table: the smaller the better."""
    model, rival = (cost_rows(table, pairs.truths, a) for a in (pairs.model, pairs.rival))
    reach = PER * float(cost_matrix(table).max())
    interval = _mean_difference(PER * model, PER * rival, pairs.groups, plan, reach)
    return _compared(against, "expected_cost", interval, n=len(model), more_is_better=False)

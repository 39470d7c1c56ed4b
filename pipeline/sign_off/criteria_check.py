"""The criteria held against an evaluation, one by one, each with its figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.evaluation.intervals import clopper_pearson, share, unknown
from seamtell.pipeline.evaluation.result import (
    ClassFigures,
    Estimate,
    EvaluationResult,
    ScopeResult,
)
from seamtell.pipeline.sign_off.criteria import Criteria, Criterion
from seamtell.pipeline.sign_off.record_figures import counted, record_figure, stratum_figure
from seamtell.pipeline.sign_off.statistics import IntervalSide, Statistic

__all__ = ["CriterionOutcome", "apply_criteria"]


@dataclass(frozen=True)
class CriterionOutcome:
    """One criterion, for one class or for all sections, with the figure it met.

    Parameters
    ----------
    criterion : Criterion
    label : str
        The class; empty for all sections together.
    figure : Estimate
        At the level of the criterion.
    value : float or None
        The number compared with the bound; None where it is unknown, which never passes.
    passed : bool
    applies : bool
        False for a comparison with the approved model while there is none: passed, for
        there is nothing to be worse than.
    """

    criterion: Criterion
    label: str
    figure: Estimate
    value: float | None
    passed: bool
    applies: bool = True

    @property
    def sign(self) -> str:
        """The comparison, as a sign."""
        return "≤" if self.criterion.statistic.at_most else "≥"


def _class_figure(statistic: Statistic, label: str, scope: ScopeResult) -> Estimate:
    figures: ClassFigures = next(one for one in scope.per_class if one.label == label)
    covered = {one.label: one.coverage for one in scope.set_coverage}
    untaught = Estimate(n=0, unknown="the model was not taught this class")
    return {
        Statistic.RECALL: figures.recall,
        Statistic.RECALL_ANSWERED: figures.recall_answered,
        Statistic.PRECISION: figures.precision,
        Statistic.SET_COVERAGE: covered.get(label, untaught),
        Statistic.SECTIONS: counted(figures.sections),
        Statistic.MISSED_SHARE: figures.missed,
        Statistic.ABSTENTION_RATE: figures.abstained,
    }[statistic]


def _right(scope: ScopeResult) -> Estimate:
    """Labelled right among the indicated sections."""
    matrix = scope.matrix
    indicated = sum(
        matrix.count(row, column) for row in matrix.rows for column in (*matrix.rows, UNCLASSIFIED)
    )
    right = sum(matrix.count(row, row) for row in matrix.rows)
    return share(right, indicated, unknown_because="no indicated section")


def _overall_figure(statistic: Statistic, scope: ScopeResult) -> Estimate:
    return {
        Statistic.SECTIONS: counted(scope.judged),
        Statistic.RIGHT: _right(scope),
        Statistic.MISSED_SHARE: scope.missed,
        Statistic.ABSTENTION_RATE: scope.abstention,
        Statistic.KAPPA: scope.kappa,
        Statistic.MACRO_F1: scope.macro_f1,
        Statistic.MACRO_F1_WITH_ABSTENTION: scope.macro_f1_with_abstention,
        Statistic.LOG_LOSS: scope.log_loss,
    }[statistic]


def _at_level(figure: Estimate, level: float) -> Estimate:
    if figure.count is None or figure.n == 0 or figure.level == level:
        return figure
    low, high = clopper_pearson(figure.count, figure.n, level)
    return figure.model_copy(update={"low": low, "high": high, "level": level})


@dataclass(frozen=True)
class _Evidence:
    result: EvaluationResult
    record: AcceptanceRecord | None
    approved_model_id: str

    def figure(self, criterion: Criterion, label: str) -> Estimate:
        statistic = criterion.statistic
        if statistic.in_record or criterion.stratum:
            if self.record is None:
                return unknown("the evaluation has no acceptance figures: evaluate again")
            if criterion.stratum:
                return _at_level(stratum_figure(criterion, self.record), criterion.level)
            return record_figure(criterion, label, self.record, self.approved_model_id)
        scope = self.result.scope(criterion.sections)
        figure = _class_figure(statistic, label, scope) if label else _overall_figure(statistic, scope)
        return _at_level(figure, criterion.level)


def _outcome(criterion: Criterion, label: str, evidence: _Evidence) -> CriterionOutcome:
    if criterion.statistic.against_approved and not evidence.approved_model_id:
        return CriterionOutcome(
            criterion, label, unknown("no other model is approved"), None, passed=True, applies=False
        )
    figure = evidence.figure(criterion, label)
    value = {
        IntervalSide.LOW: figure.low,
        IntervalSide.HIGH: figure.high,
        IntervalSide.ESTIMATE: figure.estimate,
    }[criterion.interval]
    if value is None:
        passed = False
    else:
        passed = value <= criterion.bound if criterion.statistic.at_most else value >= criterion.bound
    return CriterionOutcome(criterion, label, figure, value, passed)


def apply_criteria(
    criteria: Criteria,
    result: EvaluationResult,
    record: AcceptanceRecord | None = None,
    *,
    approved_model_id: str = "",
) -> tuple[CriterionOutcome, ...]:
    """Hold every criterion against an evaluation; a figure that is unknown does not pass.

    Parameters
    ----------
    criteria : Criteria
    result : EvaluationResult
    record : AcceptanceRecord, optional
        Written with `result`; without it the criteria that look there are unknown.
    approved_model_id : str
        The other model that is approved now; empty for none.
    """
    if record is not None and record.cost_table != criteria.costs:
        # Figures at other prices are none of these criteria.
        other = unknown("evaluated with another cost table: evaluate again")
        record = record.model_copy(update={"costs": (), "weighted_kappa": other})
    evidence = _Evidence(result, record, "" if approved_model_id == result.model_id else approved_model_id)

    def outcomes() -> Iterator[CriterionOutcome]:
        for criterion in criteria.criterion:
            for label in criterion.labels or ("",):
                yield _outcome(criterion, label, evidence)

    return tuple(outcomes())

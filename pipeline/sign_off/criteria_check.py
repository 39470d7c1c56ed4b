"""The criteria held against an evaluation, one by one, each with its figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seamtell.pipeline.evaluation.intervals import clopper_pearson
from seamtell.pipeline.evaluation.result import ClassFigures, Estimate, EvaluationResult, ScopeResult
from seamtell.pipeline.sign_off.criteria import Criteria, Criterion, IntervalSide, Statistic

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
    """

    criterion: Criterion
    label: str
    figure: Estimate
    value: float | None
    passed: bool

    @property
    def sign(self) -> str:
        """The comparison, as a sign."""
        return "≤" if self.criterion.statistic.at_most else "≥"


def _count(n: int) -> Estimate:
    return Estimate(n=n, estimate=float(n), low=float(n), high=float(n), method="counted")


def _class_figure(statistic: Statistic, figures: ClassFigures, scope: ScopeResult) -> Estimate:
    covered = {one.label: one.coverage for one in scope.set_coverage}
    unknown = Estimate(n=0, unknown="the model was not taught this class")
    return {
        Statistic.RECALL: figures.recall,
        Statistic.RECALL_ANSWERED: figures.recall_answered,
        Statistic.PRECISION: figures.precision,
        Statistic.SET_COVERAGE: covered.get(figures.label, unknown),
        Statistic.SECTIONS: _count(figures.sections),
        Statistic.MISSED_SHARE: figures.missed,
        Statistic.ABSTENTION_RATE: figures.abstained,
    }[statistic]


def _overall_figure(statistic: Statistic, scope: ScopeResult) -> Estimate:
    return {
        Statistic.SECTIONS: _count(scope.judged),
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


def _outcome(criterion: Criterion, label: str, scope: ScopeResult) -> CriterionOutcome:
    if label:
        figures = next(one for one in scope.per_class if one.label == label)
        figure = _class_figure(criterion.statistic, figures, scope)
    else:
        figure = _overall_figure(criterion.statistic, scope)
    figure = _at_level(figure, criterion.level)
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


def apply_criteria(criteria: Criteria, result: EvaluationResult) -> tuple[CriterionOutcome, ...]:
    """Hold every criterion against an evaluation; a figure that is unknown does not pass."""

    def outcomes() -> Iterator[CriterionOutcome]:
        for criterion in criteria.criterion:
            scope = result.scope(criterion.sections)
            for label in criterion.labels or ("",):
                yield _outcome(criterion, label, scope)

    return tuple(outcomes())

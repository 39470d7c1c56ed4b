"""How many sections each criterion takes, if performance stays as seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.acceptance.sample_size import (
    ChancePoint,
    SectionsNeeded,
    flaws_needed,
    sections_needed,
)
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.sign_off.criteria import Criteria
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome, apply_criteria
from seamtell.pipeline.sign_off.statistics import IntervalSide, Statistic

__all__ = ["NeededSections", "needed_for", "needed_sections"]

_MOST = 100_000


@dataclass(frozen=True)
class NeededSections:
    """What one criterion takes, for one class or for all sections.

    Parameters
    ----------
    outcome : CriterionOutcome
        The criterion with its figure as seen.
    cases : str
        What is counted: sections, labelled sections, ...
    have : int
        Cases that the figure rests on.
    needed : int or None
        Cases in all with which the bound holds with a chance of 80 %, or about so where
        the figure is no simple share; None where no number of cases can be said.
    approximate : bool
        The number rests on an interval that shrinks with the root of the cases.
    words : str
        The answer as a sentence.
    curve : tuple of ChancePoint
        Chance to pass over the number of cases, for a figure; empty where there is none.
    """

    outcome: CriterionOutcome
    cases: str
    have: int
    needed: int | None
    approximate: bool
    words: str
    curve: tuple[ChancePoint, ...] = ()

    @property
    def missing(self) -> int | None:
        """Cases still to be had; None where no number can be said."""
        return None if self.needed is None else max(0, self.needed - self.have)


_CASES = {
    Statistic.RECALL_ANSWERED: "labelled sections of the class",
    Statistic.PRECISION: "sections labelled so",
    Statistic.SET_COVERAGE: "indicated sections of the class",
    Statistic.ABSTENTION_RATE: "indicated sections",
    Statistic.MISSED_SHARE: "sections of flaws",
    Statistic.RIGHT: "indicated sections",
    Statistic.A90_95_MM: "sized flaws",
    Statistic.MISS_RATE_CORRECTED: "random cuts where nothing is indicated",
    Statistic.KRIPPENDORFF_ALPHA: "sections read by several",
    Statistic.WARNINGS: "warnings",
}


def needed_sections(
    criteria: Criteria,
    result: EvaluationResult,
    record: AcceptanceRecord | None = None,
    *,
    approved_model_id: str = "",
) -> tuple[NeededSections, ...]:
    """Sections that each criterion takes, in the order of `apply_criteria`."""
    outcomes = apply_criteria(criteria, result, record, approved_model_id=approved_model_id)
    return tuple(needed_for(outcome, record) for outcome in outcomes)


def needed_for(outcome: CriterionOutcome, record: AcceptanceRecord | None = None) -> NeededSections:
    """Sections that one criterion takes."""
    criterion, figure = outcome.criterion, outcome.figure
    statistic = criterion.statistic
    if not outcome.applies:
        return _told(outcome, None, "does not apply: no other model is approved")
    if statistic is Statistic.SECTIONS:
        needed = math.ceil(criterion.bound)
        return _told(outcome, needed, f"{needed} sections, counted")
    if statistic is Statistic.WARNINGS:
        return _told(outcome, None, "no number of sections takes a warning away: find its cause")
    if statistic is Statistic.A90_95_MM:
        return _sizes(outcome)
    if statistic is Statistic.MISS_RATE_CORRECTED:
        return _random_cuts(outcome, record)
    if criterion.interval is IntervalSide.ESTIMATE:
        words = "passes as it stands" if outcome.passed else "more sections do not move an estimate as such"
        return _told(outcome, figure.n if outcome.passed else None, words)
    if figure.estimate is None:
        return _unknown_yet(outcome)
    if figure.count is not None and 0 < criterion.bound < 1:
        return _share(outcome, figure.count / figure.n)
    return _by_root(outcome)


def _told(
    outcome: CriterionOutcome, needed: int | None, words: str, *, have: int | None = None
) -> NeededSections:
    return NeededSections(
        outcome=outcome,
        cases=_CASES.get(outcome.criterion.statistic, "sections"),
        have=outcome.figure.n if have is None else have,
        needed=needed,
        approximate=False,
        words=words,
    )


def _share(outcome: CriterionOutcome, seen: float) -> NeededSections:
    answer = _exactly(outcome, seen)
    return NeededSections(
        outcome=outcome,
        cases=_CASES.get(outcome.criterion.statistic, "sections"),
        have=outcome.figure.n,
        needed=answer.for_chance,
        approximate=False,
        words=answer.words,
        curve=answer.curve,
    )


def _exactly(outcome: CriterionOutcome, seen: float) -> SectionsNeeded:
    criterion = outcome.criterion
    return sections_needed(
        seen, criterion.bound, at_most=criterion.statistic.at_most, level=outcome.figure.level
    )


def _unknown_yet(outcome: CriterionOutcome) -> NeededSections:
    """Nothing was seen: only what a record without a fault would take can be said."""
    criterion = outcome.criterion
    why = f"unknown ({outcome.figure.unknown})"
    if criterion.statistic in _SHARES and 0 < criterion.bound < 1:
        perfect = _exactly(outcome, 0.0 if criterion.statistic.at_most else 1.0)
        return _told(outcome, None, f"{why}; at least {perfect.fewest}, if nothing went wrong")
    return _told(outcome, None, why)


_SHARES = frozenset(
    {
        Statistic.RECALL,
        Statistic.RECALL_ANSWERED,
        Statistic.RECALL_SIMULTANEOUS,
        Statistic.PRECISION,
        Statistic.SET_COVERAGE,
        Statistic.RIGHT,
        Statistic.MISSED_SHARE,
        Statistic.ABSTENTION_RATE,
    }
)


def _by_root(outcome: CriterionOutcome) -> NeededSections:
    """For figures that are no share: the interval is taken to shrink with the root of the cases."""
    figure, bound = outcome.figure, outcome.criterion.bound
    if figure.estimate is None or figure.low is None or figure.high is None:
        return _told(outcome, None, "no interval")
    at_most = outcome.criterion.statistic.at_most
    room = bound - figure.estimate if at_most else figure.estimate - bound
    reach = figure.high - figure.estimate if at_most else figure.estimate - figure.low
    if room <= 0:
        return _told(outcome, None, f"never: {figure.estimate:.3g} was seen, on the wrong side of the bound")
    needed = max(1, math.ceil(figure.n * (reach / room) ** 2))
    if needed > _MOST:
        return _told(outcome, None, f"more than {_MOST:,}: {figure.estimate:.3g} lies too near to the bound")
    return NeededSections(
        outcome=outcome,
        cases=_CASES.get(outcome.criterion.statistic, "sections"),
        have=figure.n,
        needed=needed,
        approximate=True,
        words=f"about {needed} sections, if the interval shrinks with the root of their number; even chance",
    )


def _sizes(outcome: CriterionOutcome) -> NeededSections:
    trial = flaws_needed(0.90, 0.95)
    words = (
        f"no number of sections follows from the curve; {trial} of {trial} flaws found, all of at most "
        f"{outcome.criterion.bound:g} mm, would show it for flaws like those"
    )
    if outcome.passed:
        words = "passes as it stands"
    elif outcome.figure.unknown:
        words = f"{outcome.figure.unknown}; {words}"
    return _told(outcome, outcome.figure.n if outcome.passed else None, words)


def _random_cuts(outcome: CriterionOutcome, record: AcceptanceRecord | None) -> NeededSections:
    rates = () if record is None else record.miss_rates
    found = [one for one in rates if one.label == (outcome.label or "all")]
    if not found:
        return _told(outcome, None, f"unknown ({outcome.figure.unknown})", have=0)
    rate = found[0]
    if outcome.passed:
        return _told(outcome, rate.random_cuts, "passes as it stands", have=rate.random_cuts)
    enough = rate.random_cuts_wanted if _bounds_enough(outcome) else None
    return _told(outcome, enough, rate.words, have=rate.random_cuts)


def _bounds_enough(outcome: CriterionOutcome) -> bool:
    """Whether the wanted random cuts, which bound the rate to 10 %, would do for this criterion."""
    return outcome.criterion.interval is IntervalSide.HIGH and outcome.criterion.bound >= 0.10

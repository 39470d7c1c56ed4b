"""Criteria that look at the acceptance record, and how many sections each takes."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.record import (
    AcceptanceRecord,
    ClassBound,
    Comparison,
    ConcernText,
    CostCurve,
    CostFigures,
    Detection,
    DetectionPoint,
    MissRate,
    Rival,
    Stratum,
)
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import share, unknown
from seamtell.pipeline.evaluation.result import Estimate, EvaluationResult, Scope
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.sign_off.criteria import Criteria, Criterion
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome, apply_criteria
from seamtell.pipeline.sign_off.needed import needed_for, needed_sections

COSTS = CostTable()


@pytest.fixture
def result(cut, answered, bare_evaluation) -> EvaluationResult:
    """8 of 10 pinholes right, and 10 sound seams."""
    sections = answered(
        *[cut("pinhole", "pinhole")] * 8, *[cut("pinhole", "sound")] * 2, *[cut("sound", "sound")] * 10
    )
    scopes = {
        scope: score_scope(scope, sections, chosen="prior", error_rate=0.1, plan=Plan(draws=100))
        for scope in Scope
    }
    return bare_evaluation(scopes, model_id="m-0002", candidate="prior", classes=sections.classes, draws=100)


def _figure(estimate: float, low: float, high: float, n: int = 40) -> Estimate:
    return Estimate(n=n, estimate=estimate, low=low, high=high)


def _curve(link: str, a90_95_mm: float | None, detector: str = "either") -> Detection:
    refusal = ConcernText(doubt="no_misses", text="no flaw was missed", refusal=True)
    return Detection(
        label="pinhole",
        detector=detector,
        size="width_mm",
        link=link,
        points=(DetectionPoint(section_id="1", size_mm=1.0, hit=True),),
        sections_without_size=0,
        penalised=False,
        a90_95_mm=a90_95_mm,
        concerns=() if a90_95_mm else (refusal,),
    )


def _record(**changes: object) -> AcceptanceRecord:
    fields: dict[str, object] = {
        "model_id": "m-0002",
        "model_digest": "",
        "evaluation_digest": "",
        "scope": Scope.HELD_OUT,
        "detection": (),
        "miss_rates": (),
        "tolerance": (),
        "agreement": None,
        "label_errors": (),
        "comparisons": (),
        "strata": (),
        "stratum_tests": (),
        "simultaneous": (),
        "costs": (),
        "weighted_kappa": _figure(0.7, 0.6, 0.8),
        "warnings": (),
        "cost_table": COSTS,
    }
    return AcceptanceRecord.model_validate(fields | changes)


def _criterion(**fields: object) -> Criterion:
    return Criterion.model_validate({"id": "c", **fields})


@pytest.fixture
def check(result: EvaluationResult) -> Callable[..., CriterionOutcome]:
    def run(record: AcceptanceRecord | None, approved: str = "", **fields: object) -> CriterionOutcome:
        criteria = Criteria(criterion=(_criterion(**fields),), costs=COSTS)
        (outcome,) = apply_criteria(criteria, result, record, approved_model_id=approved)
        return outcome

    return run


def test_without_a_record_its_figures_are_unknown_and_do_not_pass(check) -> None:
    outcome = check(None, statistic="weighted_kappa", bound=0.0, interval="low")
    assert not outcome.passed
    assert "evaluate again" in outcome.figure.unknown


def test_the_worse_of_the_two_curves_counts(check) -> None:
    record = _record(
        detection=(_curve("logit", 1.1), _curve("probit", 1.3), _curve("logit", 9.0, "specular"))
    )
    fields = {"statistic": "a90_95_mm", "scope": "pinhole", "interval": "estimate"}
    assert check(record, bound=1.3, **fields).passed
    assert not check(record, bound=1.2, **fields).passed


def test_a_curve_that_was_refused_never_passes_and_says_why(check) -> None:
    record = _record(detection=(_curve("logit", 1.1), _curve("probit", None)))
    outcome = check(record, statistic="a90_95_mm", scope="pinhole", interval="estimate", bound=99)
    assert not outcome.passed
    assert "no flaw was missed" in outcome.figure.unknown


def _miss(bounds_only: bool) -> MissRate:
    return MissRate(
        label="all",
        as_cut=_figure(0.01, 0.0, 0.05),
        corrected=_figure(0.05, 0.01, 0.10),
        exact_low=0.0,
        exact_high=0.6,
        random_cuts=30,
        random_misses=0 if bounds_only else 8,
        random_cuts_wanted=200,
        bounds_only=bounds_only,
        words="30 random cuts.",
    )


def test_where_the_data_support_bounds_only_the_exact_bound_counts(check) -> None:
    fields = {"statistic": "miss_rate_corrected", "interval": "high", "bound": 0.2}
    assert check(_record(miss_rates=(_miss(False),)), **fields).value == 0.10
    strict = check(_record(miss_rates=(_miss(True),)), **fields)
    assert (strict.value, strict.passed) == (0.6, False)


def test_a_corrected_point_that_the_data_do_not_support_is_no_estimate(check) -> None:
    outcome = check(
        _record(miss_rates=(_miss(True),)), statistic="miss_rate_corrected", interval="estimate", bound=0.9
    )
    assert not outcome.passed


def _difference(model_id: str) -> Comparison:
    return Comparison(
        rival=Rival.APPROVED,
        model_id=model_id,
        figure="macro_f1",
        sections=40,
        difference=_figure(0.01, -0.04, 0.06),
    )


def test_not_inferior_means_that_the_low_end_keeps_the_margin(check) -> None:
    record = _record(comparisons=(_difference("m-0001"),), approved_model_id="m-0001")
    fields = {"statistic": "macro_f1_vs_approved", "interval": "low"}
    assert check(record, "m-0001", bound=-0.05, **fields).passed
    assert not check(record, "m-0001", bound=-0.03, **fields).passed


def test_without_another_approved_model_there_is_nothing_to_compare_with(check) -> None:
    for approved in ("", "m-0002"):
        outcome = check(_record(), approved, statistic="macro_f1_vs_approved", interval="low", bound=0.5)
        assert outcome.passed
        assert not outcome.applies


def test_a_comparison_with_a_model_no_longer_approved_does_not_count(check) -> None:
    record = _record(comparisons=(_difference("m-0001"),), approved_model_id="m-0001")
    outcome = check(record, "m-0003", statistic="macro_f1_vs_approved", interval="low", bound=-0.9)
    assert not outcome.passed
    assert "m-0003" in outcome.figure.unknown


def test_a_stratum_is_looked_up_by_its_name_at_the_criterions_level(check) -> None:
    stratum = Stratum(
        by="recipe",
        value="R1",
        sections=20,
        right=share(15, 20),
        missed=unknown("too few"),
        abstained=share(1, 20),
    )
    record = _record(strata=(stratum,))
    outcome = check(record, statistic="right", stratum="recipe=R1", bound=0.5, interval="low", level=0.9)
    # Outside reference: statsmodels proportion_confint(method="beta").
    assert outcome.value == pytest.approx(proportion_confint(15, 20, alpha=0.1, method="beta")[0])
    assert not check(record, statistic="missed_share", stratum="recipe=R1", bound=1, interval="high").passed
    unheard = check(record, statistic="right", stratum="recipe=R9", bound=0, interval="low")
    assert "there is R1" in unheard.figure.unknown


def test_costs_at_other_prices_do_not_count(check) -> None:
    cost = CostFigures(
        candidate="prior",
        chosen=True,
        per_1000=_figure(500, 400, 650),
        best_threshold=0.5,
        curve=CostCurve(thresholds=(0.5,), per_1000=(500.0,)),
    )
    fields = {"statistic": "expected_cost_per_1000", "interval": "high", "bound": 700}
    assert check(_record(costs=(cost,)), **fields).passed
    other = _record(costs=(cost,), cost_table=CostTable(wrong_class=6))
    assert "evaluate again" in check(other, **fields).figure.unknown


def test_a_warning_of_the_too_good_fails_where_the_criteria_allow_none(check) -> None:
    fields = {"statistic": "warnings", "interval": "estimate", "bound": 0}
    assert check(_record(), **fields).passed
    assert not check(_record(warnings=("too good",)), **fields).passed


def test_simultaneous_recall_is_held_at_its_own_level(check) -> None:
    bound = ClassBound(label="pinhole", recall=share(8, 10, level=0.99), level_each=0.99, method="")
    outcome = check(
        _record(simultaneous=(bound,)),
        statistic="recall_simultaneous",
        scope="pinhole",
        bound=0.3,
        interval="low",
    )
    assert outcome.value == pytest.approx(proportion_confint(8, 10, alpha=0.01, method="beta")[0])


def test_the_sections_needed_of_a_share_hold_their_bound_with_the_chance_said(result) -> None:
    criteria = Criteria(
        criterion=(_criterion(statistic="recall", scope="pinhole", bound=0.6, interval="low"),)
    )
    (needed,) = needed_sections(criteria, result)
    assert (needed.have, needed.outcome.passed, needed.approximate) == (10, False, False)

    def chance(n: int) -> float:
        # Outside reference: statsmodels intervals, scipy binomial; performance stays at 8 in 10.
        passing = [k for k in range(n + 1) if proportion_confint(k, n, method="beta")[0] >= 0.6]
        return float(sum(binom.pmf(passing, n, 0.8)))

    assert chance(needed.needed) >= 0.8
    assert chance(needed.needed - 1) < 0.8


def test_an_interval_that_shrinks_with_the_root_takes_four_times_the_sections_for_half_of_it(check) -> None:
    record = _record(weighted_kappa=_figure(0.7, 0.5, 0.9, n=40))
    needed = needed_for(check(record, statistic="weighted_kappa", bound=0.6, interval="low"), record)
    assert (needed.needed, needed.missing, needed.approximate) == (160, 120, True)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"statistic": "weighted_kappa", "bound": 0.75, "interval": "low"}, "never"),
        ({"statistic": "kappa", "bound": 0.1, "interval": "estimate"}, "passes as it stands"),
        ({"statistic": "recall", "scope": "mismatch", "bound": 0.5, "interval": "low"}, "unknown"),
        ({"statistic": "missed_share", "bound": 0.1, "interval": "high"}, "at least 36"),
    ],
)
def test_what_no_number_answers_is_said_in_words(check, fields, words: str) -> None:
    assert words in needed_for(check(_record(), **fields)).words


def test_random_cuts_are_counted_for_the_corrected_miss_rate(check) -> None:
    record = _record(miss_rates=(_miss(True),))
    fields = {"statistic": "miss_rate_corrected", "interval": "high"}
    enough = needed_for(check(record, bound=0.1, **fields), record)
    assert (enough.have, enough.needed) == (30, 200)
    assert needed_for(check(record, bound=0.05, **fields), record).needed is None


def test_29_of_29_flaws_would_show_a_size(check) -> None:
    record = _record(detection=(_curve("logit", 1.1),))
    needed = needed_for(
        check(record, statistic="a90_95_mm", scope="pinhole", interval="estimate", bound=1), record
    )
    # 29 of 29 show 90 % with 95 % confidence: common practice after MIL-HDBK-1823A.
    assert "29 of 29 flaws" in needed.words

"""Criteria held against an evaluation."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.sign_off.criteria import Criteria, Criterion
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome, apply_criteria


@pytest.fixture
def check(cut, answered, bare_evaluation) -> Callable[..., tuple[CriterionOutcome, ...]]:
    """Hold one criterion against 8 of 10 pinholes right, 1 abstained, 1 wrong, and 10 sound seams."""
    sections = answered(
        *[cut("pinhole", "pinhole")] * 8,
        cut("pinhole", "unclassified", top="pinhole", reason="ambiguous"),
        cut("pinhole", "sound"),
        *[cut("sound", "sound")] * 10,
    )
    scopes = {
        scope: score_scope(scope, sections, chosen="prior", error_rate=0.1, plan=Plan(draws=100))
        for scope in Scope
    }
    result = bare_evaluation(
        scopes, model_id="m-0001", candidate="prior", classes=sections.classes, draws=100
    )

    def apply(**fields: object) -> tuple[CriterionOutcome, ...]:
        criterion = Criterion.model_validate({"id": "c", **fields})
        return apply_criteria(Criteria(criterion=(criterion,)), result)

    return apply


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.99])
def test_the_bound_is_held_against_the_interval_of_the_criterions_own_level(check, level: float) -> None:
    # Outside reference: statsmodels proportion_confint(method="beta") for 8 of 10.
    (outcome,) = check(statistic="recall", scope="pinhole", bound=0.5, interval="low", level=level)
    expected = proportion_confint(8, 10, alpha=1 - level, method="beta")[0]
    assert outcome.value == pytest.approx(expected)
    assert outcome.passed == (expected >= 0.5)


def test_abstained_sections_count_for_recall_and_not_for_answered_recall(check) -> None:
    values = [
        check(statistic=name, scope="pinhole", bound=0, interval="estimate")[0].value
        for name in ("recall", "recall_answered", "abstention_rate")
    ]
    assert values == pytest.approx([8 / 10, 8 / 9, 1 / 10])


def test_each_flaw_is_looked_at_by_itself_and_a_flaw_without_sections_fails(check) -> None:
    outcomes = check(statistic="recall", scope="each_flaw", bound=0.1, interval="low")
    assert [one.label for one in outcomes] == ["pinhole", "edge_notch", "lack_of_fusion", "mismatch"]
    assert [one.passed for one in outcomes] == [True, False, False, False]
    assert outcomes[1].value is None


def test_each_class_takes_sound_too(check) -> None:
    outcomes = check(statistic="sections", scope="each_class", bound=10, interval="estimate")
    assert [(one.label, one.passed) for one in outcomes if one.passed] == [("pinhole", True), ("sound", True)]


def test_an_upper_bound_is_held_from_above(check) -> None:
    fields = {"statistic": "abstention_rate", "interval": "high"}
    (strict,), (lax,) = check(**fields, bound=0.05), check(**fields, bound=0.5)
    assert (strict.passed, lax.passed) == (False, True)
    assert lax.sign == "≤"
    assert lax.value == pytest.approx(share(1, 20).high)


def test_what_nobody_could_have_found_missing_does_not_pass(check) -> None:
    (outcome,) = check(statistic="missed_share", bound=1.0, interval="high")
    assert not outcome.passed
    assert outcome.figure.unknown == "nothing unflagged was cut"


@pytest.mark.parametrize("statistic", ["kappa", "macro_f1", "macro_f1_with_abstention"])
def test_resampled_figures_are_taken_as_stored(check, statistic: str) -> None:
    (outcome,) = check(statistic=statistic, bound=0.0, interval="low")
    assert outcome.value == outcome.figure.low
    assert outcome.passed


def test_cross_validated_sections_can_be_asked_for(check) -> None:
    (outcome,) = check(
        statistic="set_coverage", scope="pinhole", sections="cross_validated", bound=0.5, interval="estimate"
    )
    assert outcome.figure.n == 10


def test_log_loss_must_stay_below_its_bound(check) -> None:
    assert check(statistic="log_loss", bound=5.0, interval="high")[0].passed
    assert not check(statistic="log_loss", bound=0.01, interval="high")[0].passed

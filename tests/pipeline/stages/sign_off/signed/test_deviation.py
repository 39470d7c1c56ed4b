"""Approving against a failed criterion: only for a time, with a reason, and for all to see."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest

from seamtell.pipeline.approve import ApprovalRefused, DeviationRequest, approve
from seamtell.pipeline.classify import classify
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.mix import flaw_mix
from seamtell.pipeline.production_page import write_production_page
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.check_result import CheckOutcome
from seamtell.pipeline.verify import verify
from seamtell.pipeline.workspace import Workspace

pytestmark = pytest.mark.usefixtures("_no_registry")

WHY = "the only model that names lack of fusion; each label is looked at by two persons"
LAST_DAY = date(2026, 5, 20)
SENTENCE = f"approved by deviation until 2026-05-20 although criteria failed (macro_f1): {WHY}"


@pytest.fixture
def strict(shop: Workspace) -> Workspace:
    """The shop with a criterion that the model does not meet, and nothing signed yet."""
    shop.log_path.unlink()
    shop.criteria_path.write_text(shop.criteria_path.read_text().replace("0.2", "0.9999"))
    return shop


def deviate(ws: Workspace, now: datetime, why: str = WHY, last_day: date = LAST_DAY):
    return approve(
        ws,
        "m-0001",
        by="R. Tern",
        reason="bridge the summer",
        now=now,
        deviation=DeviationRequest(why, last_day),
    )


@pytest.fixture
def deviating(strict: Workspace, later: datetime) -> Workspace:
    deviate(strict, later)
    return strict


def test_the_log_holds_what_failed_why_and_until_when(deviating: Workspace) -> None:
    (entry,) = read_log(deviating)
    assert entry.deviation.failed == ("macro_f1",)
    assert entry.deviation.justification == WHY
    assert entry.deviation.expires == LAST_DAY
    assert json.loads(deviating.log_path.read_text())["deviation"]["expires"] == "2026-05-20"


def test_without_the_flag_the_failed_criterion_refuses(strict: Workspace, later: datetime) -> None:
    with pytest.raises(ApprovalRefused, match="macro_f1"):
        approve(strict, "m-0001", by="R. Tern", reason="try", now=later)


def test_a_deviation_needs_something_to_deviate_from(shop: Workspace, later: datetime) -> None:
    with pytest.raises(BadInput, match="every criterion passed"):
        deviate(shop, later)


@pytest.mark.parametrize(
    ("why", "last_day", "words"),
    [
        (" ", LAST_DAY, "--justification: got empty"),
        ("a\x1b[2J", LAST_DAY, "cannot be printed"),
        (WHY, date(2026, 5, 5), "expected a day after today"),
        (WHY, date(2026, 5, 1), "expected a day after today"),
        (WHY, date(2027, 6, 1), "at most 366 days ahead"),
    ],
)
def test_it_needs_a_justification_and_a_last_day_that_is_near(
    strict: Workspace, later: datetime, why: str, last_day: date, words: str
) -> None:
    with pytest.raises(BadInput, match=words):
        deviate(strict, later, why, last_day)
    assert read_log(strict) == ()


def test_it_lifts_nothing_but_the_criteria(strict: Workspace, later: datetime) -> None:
    strict.limits_path.write_text(strict.limits_path.read_text().replace("12.0", "15.0"))
    with pytest.raises(Refused, match="not of the present limits"):
        deviate(strict, later)


@pytest.mark.parametrize(
    ("moment", "model_reason"),
    [
        (datetime(2026, 5, 20, 23, 59, 59, tzinfo=UTC), ""),
        (datetime(2026, 5, 21, tzinfo=UTC), "approval_expired"),
        (datetime(2030, 1, 1, tzinfo=UTC), "approval_expired"),
    ],
)
def test_after_its_last_day_the_limit_rule_decides_alone(
    deviating: Workspace, decide, moment: datetime, model_reason: str
) -> None:
    assert decide(deviating, moment).model_reason == model_reason


def test_expired_decisions_carry_the_reason_at_every_indication_and_seam(
    deviating: Workspace, tmp_path, later: datetime
) -> None:
    import pandas as pd

    result = classify(deviating, seam_ids=["S0001"], out=tmp_path / "out", now=later + timedelta(days=40))
    assert set(pd.read_parquet(tmp_path / "out" / "indications.parquet")["reason"]) == {"approval_expired"}
    (reason,) = pd.read_parquet(tmp_path / "out" / "decisions.parquet")["reason"]
    assert "approval_expired" in reason
    assert "That time is over" in result.explanation
    assert SENTENCE in result.explanation


def test_a_clock_set_back_does_not_bring_it_back(deviating: Workspace, decide, later: datetime) -> None:
    # A later entry shows that the time was over once: a withdrawal of another day, undone by nobody.
    from seamtell.pipeline.sign_off.approval_log import append_entry
    from seamtell.pipeline.sign_off.log_entry import Action
    from seamtell.pipeline.withdraw import copied_sign_off

    entry = read_log(deviating)[-1]
    other = copied_sign_off(entry, Action.APPROVE, by="x", reason="x", now=datetime(2026, 6, 1, tzinfo=UTC))
    append_entry(deviating, other)
    assert decide(deviating, later).model_reason == "approval_expired"


def test_every_later_report_shows_it(deviating: Workspace, tmp_path, later: datetime) -> None:
    out = tmp_path / "out"
    result = classify(deviating, out=out, now=later)
    assert result.record.deviation.sentence == SENTENCE
    assert json.loads((out / "decision.json").read_text())["deviation"]["justification"] == WHY
    assert flaw_mix(deviating, out).deviation == f"m-0001 was {SENTENCE}"
    page = write_production_page(deviating, out, tmp_path / "page.html").read_text("utf-8")
    assert SENTENCE in " ".join(page.split())


def test_verify_states_it_and_finds_no_fault(deviating: Workspace, later: datetime) -> None:
    result = verify(deviating, now=later)
    assert result.first_mismatch is None
    (check,) = [one for one in result.checks if one.name == "deviation"]
    assert (check.outcome, check.text) == (CheckOutcome.NOTE, f"m-0001 was {SENTENCE}")


def test_a_deviation_cut_out_of_the_log_is_named_by_the_criteria(
    deviating: Workspace, later: datetime, forge
) -> None:
    forge(deviating, lambda entries: entries[0].update(deviation=None))
    first = verify(deviating, now=later).first_mismatch
    assert first.name == "criteria met"
    assert "macro_f1" in first.text

"""Withdrawing, reinstating, and what becomes of production."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from seamtell.models.model_file import model_digest
from seamtell.pipeline import approve as approve_stage
from seamtell.pipeline.approve import approve
from seamtell.pipeline.errors import BadInput, Refused, WorkspaceBusy
from seamtell.pipeline.reinstate import reinstate
from seamtell.pipeline.sign_off.approval_log import (
    Action,
    ModelState,
    append_entry,
    approved_model,
    model_states,
    read_log,
)
from seamtell.pipeline.withdraw import copied_sign_off, withdraw
from seamtell.pipeline.workspace import Workspace

pytestmark = pytest.mark.usefixtures("_no_registry")

BY = {"by": "A. Knot", "reason": "to be sure"}


@pytest.fixture
def two_models(shop: Workspace, now: datetime) -> Workspace:
    """The shop after a second model, a copy of the first under another name, came into use."""
    shutil.copytree(shop.models_dir / "m-0001", shop.models_dir / "m-0002")
    first = read_log(shop)[-1]
    sign_off = copied_sign_off(
        first, Action.APPROVE, by="R. Tern", reason="newer", now=now + timedelta(hours=9)
    )
    append_entry(shop, sign_off.model_copy(update={"model_id": "m-0002"}))
    return shop


def test_a_withdrawn_model_labels_no_more_and_the_limit_rule_decides_alone(
    shop: Workspace, later: datetime, decide
) -> None:
    result = withdraw(shop, "m-0001", now=later, **BY)
    assert result.was_at_work
    assert (result.entry.action, result.entry.by, result.entry.reason) == (Action.WITHDRAW, *BY.values())
    assert model_states(read_log(shop)) == {"m-0001": ModelState.WITHDRAWN}
    assert approved_model(shop) is None
    assert decide(shop).model_reason == "no_approved_model"


def test_a_withdrawal_needs_neither_a_sound_model_nor_sound_evidence(
    shop: Workspace, later: datetime
) -> None:
    shutil.rmtree(shop.models_dir / "m-0001")
    shutil.rmtree(shop.evidence_dir)
    withdraw(shop, "m-0001", now=later, **BY)
    assert approved_model(shop) is None


def test_a_withdrawn_model_cannot_be_withdrawn_again_nor_reinstated(shop: Workspace, later: datetime) -> None:
    withdraw(shop, "m-0001", now=later, **BY)
    with pytest.raises(Refused, match="cannot withdraw m-0001: it is withdrawn"):
        withdraw(shop, "m-0001", now=later, **BY)
    with pytest.raises(Refused, match="cannot reinstate m-0001: it is withdrawn, expected superseded"):
        reinstate(shop, "m-0001", now=later, **BY)
    with pytest.raises(Refused, match="no superseded model to go back to"):
        reinstate(shop, now=later, **BY)


def test_a_model_that_was_never_approved_cannot_be_withdrawn_nor_reinstated(
    shop: Workspace, later: datetime
) -> None:
    for move in (withdraw, reinstate):
        with pytest.raises(BadInput, match="'m-0777' was never approved"):
            move(shop, "m-0777", now=later, **BY)


def test_reinstating_goes_back_to_the_model_before_on_the_approval_it_had(
    two_models: Workspace, later: datetime, decide
) -> None:
    assert decide(two_models).model_id == "m-0002"
    result = reinstate(two_models, now=later, **BY)
    assert (result.entry.model_id, result.superseded, result.entry.restores) == ("m-0001", "m-0002", 3)
    third = read_log(two_models)[2]
    assert result.entry.evidence == third.evidence
    assert result.entry.model_digest == third.model_digest
    assert model_states(read_log(two_models)) == {
        "m-0001": ModelState.APPROVED,
        "m-0002": ModelState.SUPERSEDED,
    }
    assert decide(two_models).model_id == "m-0001"


def test_after_a_withdrawal_reinstating_skips_the_withdrawn_model(
    two_models: Workspace, later: datetime
) -> None:
    withdraw(two_models, "m-0002", now=later, **BY)
    assert approved_model(two_models) is None
    reinstate(two_models, now=later, **BY)
    assert approved_model(two_models).model_id == "m-0001"
    with pytest.raises(Refused, match="no superseded model"):
        reinstate(two_models, now=later, **BY)


def change_limits(ws: Workspace) -> None:
    ws.limits_path.write_text(ws.limits_path.read_text().replace("12.0", "15.0"))


def lose_evidence(ws: Workspace) -> None:
    shutil.rmtree(ws.evidence_dir)


def alter_model(ws: Workspace) -> None:
    path = ws.models_dir / "m-0001" / "model_card.json"
    path.write_bytes(path.read_bytes().replace(b"pinhole", b"pinhola", 1))


@pytest.mark.parametrize(
    ("harm", "words"),
    [(change_limits, "under other limits"), (lose_evidence, "is missing"), (alter_model, "model_card.json")],
)
def test_an_approval_that_is_no_longer_proved_cannot_be_brought_back(
    two_models: Workspace, later: datetime, harm: Callable[[Workspace], None], words: str
) -> None:
    harm(two_models)
    with pytest.raises(Refused, match=words):
        reinstate(two_models, now=later, **BY)
    assert len(read_log(two_models)) == 4


@pytest.mark.parametrize("move", [withdraw, reinstate])
@pytest.mark.parametrize(("by", "reason"), [("", "x"), ("x", " "), ("a\x07", "x")])
def test_name_and_reason_must_be_printable_text(
    two_models: Workspace, later: datetime, move: Callable, by: str, reason: str
) -> None:
    with pytest.raises(BadInput, match="got"):
        move(two_models, "m-0001", by=by, reason=reason, now=later)


def test_of_two_persons_signing_at_once_one_is_told_to_wait_and_the_log_stays_whole(
    shop: Workspace, later: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    inside, go_on = threading.Event(), threading.Event()
    real = approve_stage.append_entry

    def slow(*args):
        inside.set()
        assert go_on.wait(20)
        return real(*args)

    monkeypatch.setattr(approve_stage, "append_entry", slow)
    first = threading.Thread(
        target=approve, args=(shop, "m-0001"), kwargs={"by": "R. Tern", "reason": "mine", "now": later}
    )
    first.start()
    assert inside.wait(20)
    with pytest.raises(WorkspaceBusy, match="nothing was changed"):
        withdraw(shop, "m-0001", now=later, **BY)
    go_on.set()
    first.join(20)
    entries = read_log(shop)
    assert [entry.reason for entry in entries[3:]] == ["mine"]


def test_the_second_person_signs_on_top_of_the_first(shop: Workspace, later: datetime) -> None:
    approve(shop, "m-0001", by="R. Tern", reason="mine", now=later)
    withdraw(shop, "m-0001", now=later, **BY)
    assert [entry.seq for entry in read_log(shop)] == [1, 2, 3, 4, 5]


def test_a_crash_after_the_log_leaves_the_approval_in_force(
    two_models: Workspace, later: datetime, decide, monkeypatch: pytest.MonkeyPatch
) -> None:
    withdraw(two_models, "m-0002", now=later, **BY)

    def killed(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(approve_stage, "set_alias", killed)
    with pytest.raises(KeyboardInterrupt):
        approve(two_models, "m-0001", by="R. Tern", reason="again", now=later)
    assert decide(two_models).model_id == "m-0001"


def test_a_renamed_copy_of_an_approved_model_is_another_model(shop: Workspace, later: datetime) -> None:
    shutil.copytree(shop.models_dir / "m-0001", shop.models_dir / "m-0003")
    assert model_digest(shop.models_dir / "m-0003") == approved_model(shop).digest
    assert "m-0003" not in model_states(read_log(shop))


def test_the_signed_copies_are_the_very_bytes_that_were_signed(shop: Workspace) -> None:
    entry = read_log(shop)[-1]
    folder = shop.reports_dir / "m-0001"
    named = {path.name for path in folder.iterdir()}
    expected = {"evaluation.json", "sections.csv", "evaluation.html", "acceptance.json"} & named
    assert set(entry.evidence) == expected | {
        "section_table.csv",
        "limits.toml",
        "criteria.toml",
        "seamtell.toml",
    }
    for name in expected:
        assert (shop.evidence_dir / entry.evidence[name]).read_bytes() == (folder / name).read_bytes()
    kept = {path.name for path in shop.evidence_dir.iterdir()}
    assert kept == {digest for one in read_log(shop) for digest in one.evidence.values()}


def test_an_approval_repairs_a_signed_copy_that_was_altered(shop: Workspace, later: datetime) -> None:
    path = shop.evidence_dir / read_log(shop)[-1].evidence["evaluation.json"]
    whole = path.read_bytes()
    path.write_bytes(b"x")
    approve(shop, "m-0001", by="R. Tern", reason="again", now=later)
    assert path.read_bytes() == whole


def test_acceptance_figures_of_another_evaluation_are_not_signed(shop: Workspace, later: datetime) -> None:
    path: Path = shop.reports_dir / "m-0001" / "acceptance.json"
    document = json.loads(path.read_text())
    document["evaluation_digest"] = "0" * 64
    path.write_text(json.dumps(document))
    with pytest.raises(Refused, match="acceptance figures are of another evaluation"):
        approve(shop, "m-0001", by="R. Tern", reason="again", now=later)

"""Approval: what is checked, what is signed, what is refused."""

from __future__ import annotations

import json
import shutil
from datetime import datetime

import pytest

from seamtell.pipeline import approve as approve_module
from seamtell.pipeline.approve import ApprovalRefused, approve
from seamtell.pipeline.errors import BadInput, Refused, WorkspaceBusy
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.sign_off.approval_log import approved_model, read_log
from seamtell.pipeline.workspace import Workspace

IMPOSSIBLE = """
[[criterion]]
id = "impossible"
statistic = "recall"
scope = "each_flaw"
bound = 0.999
interval = "low"
"""
UNKNOWN = """
[[criterion]]
id = "missed"
statistic = "missed_share"
bound = 1.0
interval = "high"
"""


@pytest.fixture(autouse=True)
def aliases(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str]]:
    """Record which aliases are moved; the registry itself has its own tests."""
    moved: list[tuple[str, str]] = []

    def record(ws, settings, model_id, alias, *, now) -> bool:
        moved.append((model_id, alias))
        return True

    monkeypatch.setattr(approve_module, "set_alias", record)
    return moved


def _approve(ws: Workspace, now: datetime, model_id: str = "m-0001"):
    return approve(ws, model_id, by="R. Tern", reason="meets the criteria", now=now)


def test_an_approval_is_signed_with_all_digests_and_moves_the_alias(ws, now, aliases) -> None:
    result = _approve(ws, now)
    (entry,) = read_log(ws)
    assert entry == result.entry
    assert (entry.by, entry.reason, entry.time) == ("R. Tern", "meets the criteria", now)
    digests = [entry.model_digest, entry.sections_digest, entry.limits_digest]
    digests += [entry.criteria_digest, entry.evaluation_digest]
    assert all(len(digest) == 64 for digest in digests)
    assert len(set(digests)) == 5
    assert approved_model(ws).digest == entry.model_digest
    assert aliases == [("m-0001", "approved")]


def test_a_failed_criterion_refuses_with_every_outcome_and_signs_nothing(
    ws, now, aliases, easy_criteria
) -> None:
    ws.criteria_path.write_text(easy_criteria + IMPOSSIBLE)
    with pytest.raises(ApprovalRefused, match="4 of 5 criteria failed: impossible") as caught:
        _approve(ws, now)
    assert [one.passed for one in caught.value.outcomes] == [True, False, False, False, False]
    assert read_log(ws) == ()
    assert aliases == []


def test_a_figure_that_is_unknown_never_passes(ws, now, easy_criteria) -> None:
    ws.criteria_path.write_text(easy_criteria + UNKNOWN)
    with pytest.raises(ApprovalRefused, match="missed") as caught:
        _approve(ws, now)
    assert caught.value.outcomes[1].value is None


@pytest.mark.parametrize(
    ("path", "message"), [("limits.toml", "present limits"), ("seamtell.toml", "present settings")]
)
def test_limits_or_settings_changed_since_the_evaluation_are_refused(ws, now, path, message) -> None:
    changed = (ws.root / path).read_text()
    assert "30.0" in changed or "enter_sigma = 5.0" in changed
    (ws.root / path).write_text(
        changed.replace("30.0", "31.0").replace("enter_sigma = 5.0", "enter_sigma = 6.0")
    )
    with pytest.raises(Refused, match=message):
        _approve(ws, now)


def test_sections_changed_since_the_evaluation_are_refused(ws, now, monkeypatch) -> None:
    sections = approve_module.read_sections(ws)
    sections.loc[0, "flaw"] = "mismatch" if sections.loc[0, "flaw"] != "mismatch" else "sound"
    monkeypatch.setattr(approve_module, "read_sections", lambda ws: sections)
    with pytest.raises(Refused, match="present sections"):
        _approve(ws, now)


def test_an_evaluation_of_another_model_is_refused(ws, now) -> None:
    path = ws.reports_dir / "m-0001" / "evaluation.json"
    document = json.loads(path.read_text())
    document["model_digest"] = "0" * 64
    path.write_text(json.dumps(document))
    with pytest.raises(Refused, match="present model"):
        _approve(ws, now)


def test_a_changed_model_is_refused(ws, now) -> None:
    path = ws.models_dir / "m-0001" / "model_card.json"
    path.write_bytes(path.read_bytes().replace(b"pinhole", b"pinhola", 1))
    with pytest.raises(Refused, match=r"model_card\.json"):
        _approve(ws, now)


def test_a_model_without_evaluation_is_refused(ws, now) -> None:
    shutil.rmtree(ws.reports_dir / "m-0001")
    with pytest.raises(BadInput, match="not evaluated yet"):
        _approve(ws, now)


def test_a_broken_log_is_not_signed_on(ws, now) -> None:
    _approve(ws, now)
    ws.log_path.write_bytes(ws.log_path.read_bytes().replace(b"R. Tern", b"S. Kern"))
    with pytest.raises(Refused, match="altered after it was signed"):
        _approve(ws, now)


def test_a_busy_workspace_is_not_signed_in(ws, now) -> None:
    with workspace_lock(ws), pytest.raises(WorkspaceBusy):
        _approve(ws, now)
    assert read_log(ws) == ()


def test_the_model_approved_before_becomes_superseded(ws, now, aliases) -> None:
    shutil.copytree(ws.models_dir / "m-0001", ws.models_dir / "m-0002")
    _approve(ws, now)
    evaluate(ws, "m-0002", now=now)
    assert _approve(ws, now, "m-0002").superseded == "m-0001"
    assert aliases[1:] == [("m-0002", "approved"), ("m-0001", "superseded")]
    assert approved_model(ws).model_id == "m-0002"


@pytest.mark.parametrize(("by", "reason"), [("", "x"), ("x", " "), ("a\x07", "x")])
def test_name_and_reason_must_be_printable_text(ws, now, by: str, reason: str) -> None:
    with pytest.raises(BadInput, match=r"--by|--reason"):
        approve(ws, "m-0001", by=by, reason=reason, now=now)

"""Ten ways to tamper with a sign-off: each is named, and no unproved model labels."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import pandas as pd
import pytest

from seamtell.models.canonical_json import canonical_json
from seamtell.pipeline.approve import approve
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.sign_off.anchor import Anchor, head_anchor
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.check_result import CheckOutcome
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.tracking import server
from seamtell.pipeline.verify import verify
from seamtell.pipeline.workspace import Workspace

pytestmark = pytest.mark.usefixtures("_no_registry")


def lines(ws: Workspace) -> list[bytes]:
    return ws.log_path.read_bytes().splitlines(keepends=True)


def edit_count(data: bytes) -> bytes:
    """Move one section of the held-out confusion matrix from wrong to right."""
    document = json.loads(data)
    counts = document["held_out"]["matrix"]["counts"]
    counts[0][0] += 1
    return json.dumps(document).encode()


def edit_report_count(ws: Workspace) -> None:
    path = ws.reports_dir / "m-0001" / "evaluation.json"
    path.write_bytes(edit_count(path.read_bytes()))


def edit_signed_count(ws: Workspace) -> None:
    path = ws.evidence_dir / read_log(ws)[-1].evidence["evaluation.json"]
    path.write_bytes(edit_count(path.read_bytes()))


def swap_model_file(ws: Workspace) -> None:
    path = ws.models_dir / "m-0001" / "candidates" / "lightgbm.txt"
    other = next(p for p in path.parent.iterdir() if p.name != path.name)
    path.write_bytes(other.read_bytes())


def swap_model_folder(ws: Workspace) -> None:
    """A model that is whole in itself, and another than the one approved."""
    folder = ws.models_dir / "m-0001"
    digests = json.loads((folder / "digests.json").read_bytes())
    extra = b"{}"
    (folder / "extra.json").write_bytes(extra)
    digests["extra.json"] = hashlib.sha256(extra).hexdigest()
    (folder / "digests.json").write_bytes(canonical_json(digests))


def delete_middle_line(ws: Workspace) -> None:
    first, _, third = lines(ws)
    ws.log_path.write_bytes(first + third)


def reorder_lines(ws: Workspace) -> None:
    first, second, third = lines(ws)
    ws.log_path.write_bytes(second + first + third)


def change_limits(ws: Workspace) -> None:
    ws.limits_path.write_text(ws.limits_path.read_text().replace("12.0", "15.0"))


def change_settings(ws: Workspace) -> None:
    text = ws.settings_path.read_text()
    ws.settings_path.write_text(text.replace("enter_sigma = 5.0", "enter_sigma = 9.0"))


def edit_page(ws: Workspace) -> None:
    path = ws.reports_dir / "m-0001" / "evaluation.html"
    path.write_text(path.read_text("utf-8").replace("macro-F1", "macro-F1 (very good)", 1), "utf-8")


def back_date(ws: Workspace) -> None:
    first, second, third = lines(ws)
    entry = json.loads(third)
    changed = third.replace(entry["time"].encode(), b"2026-04-01T08:00:00Z")
    assert changed != third
    ws.log_path.write_bytes(first + second + changed)


def replace_sections(ws: Workspace) -> None:
    sections = read_sections(ws)
    row = sections.index[sections["flaw"] == "pinhole"][0]
    sections.loc[row, "flaw"] = "sound"
    sections.to_parquet(ws.sections_dir / "sections.parquet", index=False)


def drop_section(ws: Workspace) -> None:
    read_sections(ws).iloc[1:].to_parquet(ws.sections_dir / "sections.parquet", index=False)


@dataclass(frozen=True)
class Drill:
    tamper: Callable[[Workspace], None]
    check: str
    words: str
    model_reason: str
    """Of the decisions made afterwards; empty where the model still labels."""


DRILLS = (
    Drill(edit_report_count, "report", "evaluation.json: edited or made again", ""),
    Drill(edit_signed_count, "signed copies", "the signed copy of evaluation.json", "approval_basis_changed"),
    Drill(swap_model_file, "models", "lightgbm.txt", "model_digest_mismatch"),
    Drill(swap_model_folder, "models", "not that of the approved model", "model_digest_mismatch"),
    Drill(delete_middle_line, "log", "got entry 3, expected 2", "no_approved_model"),
    Drill(reorder_lines, "log", "got entry 2, expected 1", "no_approved_model"),
    Drill(change_limits, "limits", "limits.toml was changed since entry 3", "approval_basis_changed"),
    Drill(change_settings, "settings", "[describe]", "approval_basis_changed"),
    Drill(edit_page, "report", "evaluation.html: edited or made again", ""),
    Drill(back_date, "log", "altered after it was signed", "no_approved_model"),
    Drill(replace_sections, "sections", "flaw: entry 3 signed 'pinhole', the section table has 'sound'", ""),
    Drill(drop_section, "sections", "is no longer in the section table", ""),
)


@pytest.mark.parametrize("drill", DRILLS, ids=[drill.tamper.__name__ for drill in DRILLS])
def test_tampering_is_named_and_an_unproved_model_does_not_label(
    shop: Workspace, later: datetime, decide, drill: Drill
) -> None:
    drill.tamper(shop)
    first = verify(shop, now=later).first_mismatch
    assert first is not None
    assert first.name == drill.check
    assert drill.words in first.text
    record = decide(shop)
    assert record.model_reason == drill.model_reason
    assert bool(record.model_id) == (not drill.model_reason)


def test_an_untouched_sign_off_has_no_mismatch_and_labels(shop: Workspace, later: datetime, decide) -> None:
    result = verify(shop, now=later, anchor=head_anchor(shop, now=later))
    assert result.first_mismatch is None
    assert result.approved_model_id == "m-0001"
    assert {check.name for check in result.checks if check.outcome is CheckOutcome.NOT_CHECKED} == {
        "registry"
    }
    assert decide(shop).model_id == "m-0001"


def test_swapped_aliases_are_named_and_labelling_never_asks_the_registry(
    shop: Workspace, later: datetime, decide, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What a real registry answers has its own test; here is only what verify makes of it.
    own = read_log(shop)[-1].model_digest
    monkeypatch.setattr(server, "registry_aliases", lambda *_: {"approved": "f" * 64, "superseded": own})
    first = verify(shop, now=later).first_mismatch
    assert (first.name, "alias 'approved' points at the model of digest ffff" in first.text) == (
        "registry",
        True,
    )
    assert decide(shop).model_id == "m-0001"


# The end of the log: a shorter or newly chained log is a whole log, so an anchor is needed.


def test_a_truncated_log_is_whole_by_itself_and_named_by_the_anchor(
    shop: Workspace, later: datetime, decide
) -> None:
    anchor = head_anchor(shop, now=later)
    shop.log_path.write_bytes(b"".join(lines(shop)[:1]))
    assert verify(shop, now=later).first_mismatch is None
    first = verify(shop, now=later, anchor=anchor).first_mismatch
    assert first.name == "anchor"
    assert "the log was cut: the anchor knows entry 3, the log ends with 1" in first.text


def test_a_removed_log_is_named_by_the_anchor_and_nothing_labels(
    shop: Workspace, later: datetime, decide
) -> None:
    anchor = head_anchor(shop, now=later)
    shop.log_path.unlink()
    assert "the log ends with 0" in verify(shop, now=later, anchor=anchor).first_mismatch.text
    assert decide(shop).model_reason == "no_approved_model"


def test_a_truncated_log_is_named_by_the_decisions_made_in_between_too(
    shop: Workspace, later: datetime, decide
) -> None:
    from seamtell.pipeline.classify import classify

    classify(shop, seam_ids=["S0001"], now=later)
    shop.log_path.write_bytes(b"".join(lines(shop)[:1]))
    first = verify(shop, now=later).first_mismatch
    assert first.name == "decisions"
    assert "an entry 3 that it no longer has" in first.text
    assert decide(shop).model_reason == "no_approved_model"


def test_a_log_chained_anew_with_an_edited_count_is_named_by_the_counts_and_by_the_anchor(
    shop: Workspace, later: datetime, forge
) -> None:
    anchor = head_anchor(shop, now=later)
    old = read_log(shop)[-1].evidence["evaluation.json"]
    data = edit_count((shop.evidence_dir / old).read_bytes())
    new = hashlib.sha256(data).hexdigest()
    (shop.evidence_dir / new).write_bytes(data)
    (shop.reports_dir / "m-0001" / "evaluation.json").write_bytes(data)

    def replace(entries: list[dict]) -> None:
        for entry in entries:
            entry["evidence"]["evaluation.json"] = entry["evaluation_digest"] = new

    forge(shop, replace)
    assert verify(shop, now=later, anchor=anchor).first_mismatch.name == "anchor"
    first = verify(shop, now=later).first_mismatch
    assert first.name == "confusion counts"
    assert "held_out, truth pinhole, answer pinhole" in first.text


def test_a_log_chained_anew_with_a_time_that_steps_back_is_broken(
    shop: Workspace, later: datetime, forge, decide
) -> None:
    forge(shop, lambda entries: entries[2].update(time="2026-05-04T04:30:00Z"))
    first = verify(shop, now=later).first_mismatch
    assert first.name == "log"
    assert "dated 2026-05-04 04:30:00, before the entry it follows" in first.text
    assert decide(shop).model_reason == "no_approved_model"


def test_an_approval_dated_before_the_evaluation_that_it_signs_is_named(
    shop: Workspace, later: datetime, forge
) -> None:
    forge(shop, lambda entries: entries[0].update(time="2026-05-01T00:00:00Z"))
    first = verify(shop, now=later).first_mismatch
    assert first.name == "clock"
    assert "before the evaluation that it signs" in first.text


def test_an_approval_chained_in_against_its_criteria_is_named(
    shop: Workspace, later: datetime, forge
) -> None:
    strict = (shop.criteria_path.read_bytes()).replace(b"0.2", b"0.9999")
    digest = hashlib.sha256(strict).hexdigest()
    (shop.evidence_dir / digest).write_bytes(strict)
    shop.criteria_path.write_bytes(strict)

    def replace(entries: list[dict]) -> None:
        for entry in entries:
            entry["evidence"]["criteria.toml"] = entry["criteria_digest"] = digest

    forge(shop, replace)
    first = verify(shop, now=later).first_mismatch
    assert first.name == "criteria met"
    assert "macro_f1" in first.text


def test_an_entry_appended_with_a_date_before_the_anchor_is_named(
    shop: Workspace, now: datetime, later: datetime
) -> None:
    head = head_anchor(shop, now=later)
    approve(shop, "m-0001", by="R. Tern", reason="renewed", now=later.replace(hour=2))
    words = verify(shop, now=later, anchor=head).first_mismatch.text
    assert "before the anchor was taken, yet the anchor does not know it" in words


def test_a_restored_older_copy_of_the_whole_workspace_is_named_by_the_anchor(
    shop: Workspace, later: datetime, tmp_path
) -> None:
    shutil.copytree(shop.root, tmp_path / "backup")
    approve(shop, "m-0001", by="R. Tern", reason="renewed", now=later)
    anchor = head_anchor(shop, now=later)
    restored = Workspace(tmp_path / "backup")
    assert verify(restored, now=later).first_mismatch is None
    assert "the anchor knows entry 4" in verify(restored, now=later, anchor=anchor).first_mismatch.text


def test_a_wholly_other_log_of_the_same_length_is_named_by_the_anchor(
    shop: Workspace, later: datetime, forge
) -> None:
    anchor = head_anchor(shop, now=later)
    forge(shop, lambda entries: entries[0].update(by="Somebody Else"))
    assert verify(shop, now=later).first_mismatch is None
    first = verify(shop, now=later, anchor=anchor).first_mismatch
    assert "the log was written anew: entry 3 is not the one" in first.text


def test_an_anchor_of_the_empty_log_holds_for_any_log_that_began_later(
    shop: Workspace, now: datetime, later: datetime
) -> None:
    anchor = Anchor(seq=0, digest="0" * 64, taken_at=now)
    assert verify(shop, now=later, anchor=anchor).first_mismatch is None


# What may change without calling the approval into question.


def test_sections_that_were_added_are_told_and_no_fault(shop: Workspace, later: datetime, decide) -> None:
    sections = read_sections(shop)
    more = sections.iloc[[0]].assign(section_id="X9999")
    pd.concat([sections, more], ignore_index=True).to_parquet(
        shop.sections_dir / "sections.parquet", index=False
    )
    result = verify(shop, now=later)
    assert result.first_mismatch is None
    (check,) = [one for one in result.checks if one.name == "sections"]
    assert check.text.startswith("1 sections were added since")
    assert decide(shop).model_id == "m-0001"


def test_tightened_criteria_are_told_and_no_fault(shop: Workspace, later: datetime, decide) -> None:
    shop.criteria_path.write_text(shop.criteria_path.read_text().replace("0.2", "0.3"))
    result = verify(shop, now=later)
    assert result.first_mismatch is None
    (check,) = [one for one in result.checks if one.name == "criteria"]
    assert check.outcome is CheckOutcome.NOTE
    assert decide(shop).model_id == "m-0001"


def test_an_upgraded_library_is_told_and_no_fault(
    shop: Workspace, later: datetime, decide, monkeypatch: pytest.MonkeyPatch
) -> None:
    from seamtell.pipeline.sign_off import present_checks

    then = present_checks.environment()
    monkeypatch.setattr(present_checks, "environment", lambda: {**then, "numpy": "99.0"})
    result = verify(shop, now=later)
    assert result.first_mismatch is None
    (check,) = [one for one in result.checks if one.name == "environment"]
    assert f"numpy {then['numpy']}, now 99.0" in check.text
    assert decide(shop).model_id == "m-0001"


def test_the_samples_of_a_sectioned_trace_are_computed_anew(
    shop: Workspace, later: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    from seamtell.pipeline.store.seam_store import SeamStore

    real = SeamStore.iter_traces

    def altered(self, seam_ids=None):
        for trace in real(self, seam_ids):
            louder = {name: values * 0.5 for name, values in trace.amplitudes_pct.items()}
            yield replace(trace, amplitudes_pct=louder) if trace.seam_id == "S0002" else trace

    monkeypatch.setattr(SeamStore, "iter_traces", altered)
    first = verify(shop, now=later).first_mismatch
    assert (first.name, first.text) == (
        "traces",
        "the samples of seam 'S0002' are not those that were signed",
    )


def test_verifying_writes_nothing(shop: Workspace, later: datetime) -> None:
    before = {p: p.stat().st_mtime_ns for p in shop.root.rglob("*") if p.is_file()}
    verify(shop, now=later)
    assert {p: p.stat().st_mtime_ns for p in shop.root.rglob("*") if p.is_file()} == before


def test_a_clock_set_back_is_refused_at_signing_and_accepted_with_the_flag(
    shop: Workspace, now: datetime, later: datetime
) -> None:
    with pytest.raises(Refused, match="the clock reads 2026-05-04 04:02:01 UTC, before the last entry"):
        approve(shop, "m-0001", by="R. Tern", reason="again", now=now.replace(hour=4))
    assert len(read_log(shop)) == 3
    approve(shop, "m-0001", by="R. Tern", reason="again", now=now.replace(hour=4), earlier_clock=True)
    result = verify(shop, now=later)
    assert result.first_mismatch is None
    (check,) = [one for one in result.checks if one.name == "clock"]
    assert "entry 4 is dated before entry 3 (the person said so)" in check.text


def test_a_clock_that_stands_before_the_evaluation_is_refused(shop: Workspace, now: datetime) -> None:
    shop.log_path.unlink()
    with pytest.raises(Refused, match="before the evaluation to sign"):
        approve(shop, "m-0001", by="R. Tern", reason="again", now=now.replace(year=2025))

"""The hash-chained log: what it keeps, and what it notices."""

from __future__ import annotations

import hashlib
import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.errors import BadInput, Refused, StorageProblem
from seamtell.pipeline.sign_off.approval_log import (
    FIRST_PREVIOUS,
    Action,
    ModelState,
    SignOff,
    append_entry,
    approved_model,
    check_person_text,
    model_states,
    read_log,
)
from seamtell.pipeline.workspace import Workspace


def _sign_off(number: int = 1, by: str = "R. Tern", reason: str = "first model") -> SignOff:
    return SignOff(
        action=Action.APPROVE,
        time=datetime(2026, 5, 1, tzinfo=UTC) + timedelta(days=number),
        by=by,
        reason=reason,
        model_id=f"m-{number:04d}",
        model_digest=f"{number:064d}",
        sections_digest="s",
        limits_digest="l",
        criteria_digest="c",
        evaluation_digest="e",
        software_version="0.1.0",
    )


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    return Workspace(tmp_path)


@pytest.fixture
def three(ws: Workspace) -> Workspace:
    for number in (1, 2, 3):
        append_entry(ws, _sign_off(number))
    return ws


def test_without_a_log_nothing_is_approved(ws: Workspace) -> None:
    assert read_log(ws) == ()
    assert approved_model(ws) is None


def test_the_last_approved_model_is_the_approved_one_and_the_others_are_superseded(three: Workspace) -> None:
    assert approved_model(three).model_id == "m-0003"
    states = model_states(read_log(three))
    assert states == {
        "m-0001": ModelState.SUPERSEDED,
        "m-0002": ModelState.SUPERSEDED,
        "m-0003": ModelState.APPROVED,
    }


def test_approving_an_older_model_again_makes_it_the_approved_one(three: Workspace) -> None:
    append_entry(three, _sign_off(1).model_copy(update={"time": _sign_off(3).time}))
    assert approved_model(three).model_id == "m-0001"
    assert model_states(read_log(three))["m-0003"] is ModelState.SUPERSEDED


def test_any_reader_can_recompute_the_chain_with_json_and_sha256_alone(three: Workspace) -> None:
    # Independent of our reader: canonical JSON as RFC 8785 has it for ASCII keys, text and integers.
    previous = FIRST_PREVIOUS
    for line in three.log_path.read_text("utf-8").splitlines():
        entry = json.loads(line)
        assert entry["previous"] == previous
        digest = entry.pop("digest")
        text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256(text.encode("utf-8")).hexdigest()
        assert digest == previous


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_changed_byte_is_noticed(data, tmp_path_factory: pytest.TempPathFactory) -> None:
    ws = Workspace(tmp_path_factory.mktemp("log"))
    append_entry(ws, _sign_off(1))
    append_entry(ws, _sign_off(2))
    original = ws.log_path.read_bytes()
    place = data.draw(st.integers(0, len(original) - 1))
    value = data.draw(st.integers(0, 255).filter(lambda byte: byte != original[place]))
    ws.log_path.write_bytes(original[:place] + bytes([value]) + original[place + 1 :])
    with pytest.raises(Refused, match="approval log"):
        approved_model(ws)


def _lines(ws: Workspace) -> list[bytes]:
    return ws.log_path.read_bytes().splitlines(keepends=True)


def test_a_deleted_middle_line_is_noticed(three: Workspace) -> None:
    first, _, third = _lines(three)
    three.log_path.write_bytes(first + third)
    with pytest.raises(Refused, match="got entry 3, expected 2"):
        read_log(three)


def test_two_lines_in_the_wrong_order_are_noticed(three: Workspace) -> None:
    first, second, third = _lines(three)
    three.log_path.write_bytes(first + third + second)
    with pytest.raises(Refused, match="line 2"):
        read_log(three)


def test_a_rewritten_entry_breaks_the_one_after_it(three: Workspace, tmp_path: Path) -> None:
    other = Workspace(tmp_path / "other")
    other.root.mkdir()
    append_entry(other, _sign_off(1, by="Somebody Else"))
    three.log_path.write_bytes(_lines(other)[0] + b"".join(_lines(three)[1:]))
    with pytest.raises(Refused, match="does not follow the one before it"):
        read_log(three)


def test_a_line_that_was_cut_short_is_noticed(three: Workspace) -> None:
    three.log_path.write_bytes(three.log_path.read_bytes()[:-9])
    with pytest.raises(Refused, match="unfinished line"):
        read_log(three)


def test_nothing_is_appended_to_a_broken_log(three: Workspace) -> None:
    three.log_path.write_bytes(b"binary \xff\x00 garbage\n")
    before = three.log_path.read_bytes()
    with pytest.raises(Refused, match="cannot be read"):
        append_entry(three, _sign_off(4))
    assert three.log_path.read_bytes() == before


def test_a_full_disk_leaves_the_log_as_it_was(three: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    before = three.log_path.read_bytes()
    real = os.write

    def half(descriptor: int, data: bytes) -> int:
        real(descriptor, data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", half)
    with pytest.raises(StorageProblem, match="No space left"):
        append_entry(three, _sign_off(4))
    monkeypatch.undo()
    assert three.log_path.read_bytes() == before
    assert len(read_log(three)) == 3


@pytest.mark.parametrize("text", ["Ærø Ñandú", "李雷", "=HYPERLINK(1)", 'a "quoted" \\ name', "🔧"])
def test_any_printable_name_is_kept_as_it_is(ws: Workspace, text: str) -> None:
    append_entry(ws, _sign_off(1, by=check_person_text(text, "--by")))
    assert read_log(ws)[0].by == text


@pytest.mark.parametrize(("text", "message"), [("  ", "empty"), ("a\x1b[2J", "printed"), ("a\nb", "printed")])
def test_empty_and_unprintable_names_are_refused(text: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        check_person_text(text, "--by")

"""The head of the log, kept elsewhere."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from seamtell.pipeline.errors import BadInput, Refused, StorageProblem
from seamtell.pipeline.sign_off.anchor import anchor_problem, head_anchor, read_anchor, write_anchor
from seamtell.pipeline.sign_off.approval_log import Action, SignOff, append_entry, read_log
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 9, tzinfo=UTC)


def add(ws: Workspace, number: int, by: str = "R. Tern") -> None:
    append_entry(
        ws,
        SignOff(
            action=Action.APPROVE,
            time=NOW + timedelta(days=number),
            by=by,
            reason="x",
            model_id=f"m-{number}",
            model_digest="d",
            sections_digest="s",
            limits_digest="l",
            criteria_digest="c",
            evaluation_digest="e",
            software_version="0",
        ),
    )


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    (tmp_path / "ws").mkdir()
    ws = Workspace(tmp_path / "ws")
    add(ws, 1)
    add(ws, 2)
    return ws


def test_an_anchor_reads_back_and_holds_for_the_log_that_grows(ws: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "elsewhere" / "anchor.json"
    anchor = head_anchor(ws, now=NOW)
    write_anchor(ws, anchor, path)
    assert read_anchor(path) == anchor
    assert (anchor.seq, anchor.digest) == (2, read_log(ws)[1].digest)
    add(ws, 3)
    assert anchor_problem(read_anchor(path), read_log(ws)) == ""


def test_an_anchor_is_not_written_beside_the_log(ws: Workspace) -> None:
    with pytest.raises(BadInput, match="protects nothing"):
        write_anchor(ws, head_anchor(ws, now=NOW), ws.root / "reports" / "anchor.json")


def test_a_newer_anchor_replaces_an_older_one_that_still_holds(ws: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "anchor.json"
    write_anchor(ws, head_anchor(ws, now=NOW), path)
    add(ws, 3)
    write_anchor(ws, head_anchor(ws, now=NOW), path)
    assert read_anchor(path).seq == 3


def test_an_anchor_that_shows_a_cut_log_is_not_written_over(ws: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "anchor.json"
    write_anchor(ws, head_anchor(ws, now=NOW), path)
    before = path.read_bytes()
    ws.log_path.write_bytes(ws.log_path.read_bytes().splitlines(keepends=True)[0])
    with pytest.raises(Refused, match="the log was cut"):
        write_anchor(ws, head_anchor(ws, now=NOW), path)
    assert path.read_bytes() == before


def test_no_other_file_is_written_over(ws: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "thesis.txt"
    path.write_text("my thesis")
    with pytest.raises(BadInput, match="not an anchor"):
        write_anchor(ws, head_anchor(ws, now=NOW), path)
    assert path.read_text() == "my thesis"


def test_a_broken_log_has_no_head(ws: Workspace) -> None:
    ws.log_path.write_bytes(b"x\n")
    with pytest.raises(Refused, match="cannot be read"):
        head_anchor(ws, now=NOW)


def test_an_anchor_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageProblem, match="no such file"):
        read_anchor(tmp_path / "none.json")

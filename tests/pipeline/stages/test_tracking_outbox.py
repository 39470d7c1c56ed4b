from __future__ import annotations

import json
from pathlib import Path

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.tracking.outbox import (
    ItemKind,
    SpooledItem,
    mark_sent,
    outbox_dir,
    sent_dir,
    spool,
    waiting,
)
from seamtell.pipeline.workspace import Workspace


def item(model_id: str = "m-0001", **more: object) -> SpooledItem:
    return SpooledItem(
        kind=ItemKind.TRAINING,
        model_id=model_id,
        model_digest="d" * 64,
        recorded_at="2026-05-04T03:02:01+00:00",
        **more,
    )


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    return Workspace(tmp_path)


def test_what_is_spooled_comes_back_with_its_files_in_order(ws: Workspace) -> None:
    spool(ws, item("m-0001"), {"a/b.txt": b"one"})
    spool(ws, item("m-0002"), {"c.txt": b"two"})
    first, second = waiting(ws)
    assert (first.item.model_id, second.item.model_id) == ("m-0001", "m-0002")
    assert (first.files_dir / "a" / "b.txt").read_bytes() == b"one"


def test_a_number_is_not_used_again_after_its_item_was_sent(ws: Workspace) -> None:
    spool(ws, item(), {})
    mark_sent(ws, waiting(ws)[0], server="sqlite:///x", run_id="r1")
    assert spool(ws, item(), {}).name.startswith("000002-")


def test_a_sent_item_leaves_a_note_with_server_and_run(ws: Workspace) -> None:
    spool(ws, item(), {"a.txt": b"x"})
    (only,) = waiting(ws)
    mark_sent(ws, only, server="http://host", run_id="r1")
    assert waiting(ws) == []
    (note,) = sent_dir(ws).iterdir()
    assert json.loads(note.read_text()) == {
        "spool_id": only.item.spool_id,
        "server": "http://host",
        "run_id": "r1",
    }


def test_the_same_content_has_the_same_id_and_one_changed_figure_another(ws: Workspace) -> None:
    assert item(metrics={"f1": 0.5}).spool_id == item(metrics={"f1": 0.5}).spool_id
    assert item(metrics={"f1": 0.5}).spool_id != item(metrics={"f1": 0.6}).spool_id


@pytest.mark.parametrize("name", ["../evil", "/etc/passwd", "a/../../b", ""])
def test_a_file_cannot_leave_its_item(ws: Workspace, name: str) -> None:
    with pytest.raises(BadInput, match="not a path inside a run"):
        spool(ws, item(), {name: b""})
    assert waiting(ws) == []


def test_a_write_that_fails_leaves_nothing_behind(ws: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space"):
        spool(ws, item(), {"a.txt": b"x"})
    assert list(outbox_dir(ws).iterdir()) == []


def test_what_a_killed_command_left_is_not_taken_for_an_item(ws: Workspace) -> None:
    spool(ws, item(), {})
    (outbox_dir(ws) / ".part-abc" / "files").mkdir(parents=True)
    assert len(waiting(ws)) == 1


@pytest.mark.parametrize("damage", ["file", "record"])
def test_a_changed_item_is_refused_by_name(ws: Workspace, damage: str) -> None:
    folder = spool(ws, item(), {"a.txt": b"x"})
    target = folder / ("files/a.txt" if damage == "file" else "run.json")
    target.write_bytes(b"garbage")
    with pytest.raises(BadInput, match=f"{target.name}.*(changed since|not readable)"):
        waiting(ws)

"""The log is the truth: a real model registry follows it, whatever happened in between."""

from __future__ import annotations

import hashlib
import json
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from seamtell.models.canonical_json import canonical_json
from seamtell.models.model_file import model_digest
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.sign_off.approval_log import Action, append_entry, read_log
from seamtell.pipeline.sign_off.check_result import Check, CheckOutcome
from seamtell.pipeline.sign_off.states import standings
from seamtell.pipeline.tracking.runs import follow_log, push
from seamtell.pipeline.tracking.server import registry_aliases, tracking_server
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.verify import verify
from seamtell.pipeline.withdraw import copied_sign_off
from seamtell.pipeline.workspace import Workspace


def only_log(ws: Workspace, action: Action, model_id: str, now: datetime) -> None:
    """What a command does that is killed right after it wrote the log."""
    known = standings(read_log(ws))
    approval = known[model_id if model_id in known else "m-0001"].approval
    sign_off = copied_sign_off(approval, action, by="A. Tester", reason="for a test", now=now)
    changes = {"model_id": model_id, "model_digest": model_digest(ws.models_dir / model_id)}
    append_entry(ws, sign_off.model_copy(update=changes))


def second_model(ws: Workspace) -> None:
    """The first model with one more file: whole in itself, and another digest."""
    folder = ws.models_dir / "m-0002"
    shutil.copytree(ws.models_dir / "m-0001", folder)
    digests = json.loads((folder / "digests.json").read_bytes())
    (folder / "note.json").write_bytes(b"{}")
    digests["note.json"] = hashlib.sha256(b"{}").hexdigest()
    (folder / "digests.json").write_bytes(canonical_json(digests))


@pytest.fixture(scope="module")
def registered(
    trained: tuple[Workspace, TrainResult], now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> Workspace:
    """Two models, the second approved last, and a registry that was told by a push alone."""
    folder = tmp_path_factory.mktemp("registered") / "ws"
    shutil.copytree(trained[0].root, folder)
    ws = Workspace(folder)
    second_model(ws)
    only_log(ws, Action.APPROVE, "m-0002", now + timedelta(hours=1))
    result = push(ws)
    assert (result.problem, set(result.mended)) == ("", {"approved", "superseded"})
    return ws


@pytest.fixture
def ws(registered: Workspace, tmp_path: Path) -> Workspace:
    """A copy of it, to be changed at will."""
    shutil.copytree(registered.root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


@pytest.fixture
def later(now: datetime) -> datetime:
    """After all entries."""
    return now + timedelta(days=1)


def aliases(ws: Workspace) -> dict[str, str]:
    """Alias to model id, by looking."""
    by_digest = {model_digest(folder): folder.name for folder in ws.models_dir.iterdir()}
    found = registry_aliases(ws, read_settings(ws.settings_path).track)
    return {alias: by_digest[digest] for alias, digest in found.items() if alias != "candidate"}


def registry_check(ws: Workspace, now: datetime) -> Check:
    return next(check for check in verify(ws, now=now).checks if check.name == "registry")


def test_an_approval_that_never_reached_the_registry_is_brought_there_by_the_next_push(
    registered: Workspace, later: datetime
) -> None:
    assert aliases(registered) == {"approved": "m-0002", "superseded": "m-0001"}
    assert registry_check(registered, later).outcome is CheckOutcome.OK


def test_swapped_aliases_are_named_and_put_back(ws: Workspace, later: datetime) -> None:
    track = read_settings(ws.settings_path).track
    with tracking_server(ws, track) as server:
        versions = server._client.get_registered_model(track.registered_model).aliases
        for alias, other in (("approved", "superseded"), ("superseded", "approved")):
            server._client.set_registered_model_alias(track.registered_model, alias, versions[other])
    assert aliases(ws) == {"approved": "m-0001", "superseded": "m-0002"}
    check = registry_check(ws, later)
    assert check.outcome is CheckOutcome.MISMATCH
    assert "alias 'approved' points at" in check.text
    assert "by the log it is m-0002" in check.text
    assert set(push(ws).mended) == {"approved", "superseded"}
    assert registry_check(ws, later).outcome is CheckOutcome.OK
    assert push(ws).mended == ()


def test_a_withdrawn_model_loses_the_alias(ws: Workspace, later: datetime) -> None:
    only_log(ws, Action.WITHDRAW, "m-0002", later)
    assert "by the log it is no model" in registry_check(ws, later).text
    assert follow_log(ws, read_settings(ws.settings_path))
    assert aliases(ws) == {"superseded": "m-0001", "withdrawn": "m-0002"}


def test_a_broken_log_moves_no_alias_and_says_so(ws: Workspace) -> None:
    before = aliases(ws)
    ws.log_path.write_bytes(ws.log_path.read_bytes()[:-2])
    result = push(ws)
    assert result.mended == ()
    assert "unfinished line" in result.problem
    assert aliases(ws) == before


def test_a_changed_model_is_not_brought_to_the_registry(ws: Workspace, later: datetime) -> None:
    with tracking_server(ws, read_settings(ws.settings_path).track) as server:
        server.drop_alias("approved")
        name = read_settings(ws.settings_path).track.registered_model
        for version in server._client.search_model_versions(f"name = '{name}'"):
            if version.tags["seamtell.model_id"] == "m-0002":
                server._client.delete_model_version(name, version.version)
    (ws.models_dir / "m-0002" / "note.json").write_bytes(b"[]")
    result = push(ws)
    assert "approved" not in result.mended
    assert "m-0002" in result.problem
    assert not follow_log(ws, read_settings(ws.settings_path))


def test_without_a_registry_verify_makes_none(untrained_copy: Workspace, later: datetime) -> None:
    check = registry_check(untrained_copy, later)
    assert check.outcome is CheckOutcome.NOT_CHECKED
    assert not untrained_copy.tracking_dir.exists()


def test_a_registry_that_cannot_be_reached_is_not_checked(
    ws: Workspace, later: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MLFLOW_TRACKING_URI", "http://127.0.0.1:9")
    check = registry_check(ws, later)
    assert check.outcome is CheckOutcome.NOT_CHECKED
    assert "cannot be reached" in check.text

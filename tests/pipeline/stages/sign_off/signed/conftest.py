"""A shop whose log has three entries: approved, withdrawn, approved again."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from seamtell.pipeline import approve as approve_stage
from seamtell.pipeline import reinstate as reinstate_stage
from seamtell.pipeline import withdraw as withdraw_stage
from seamtell.pipeline.approve import approve
from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.withdraw import withdraw
from seamtell.pipeline.workspace import Workspace

HOUR = timedelta(hours=1)


def _quiet(patch: pytest.MonkeyPatch) -> None:
    """No registry: it is slow, and has its own tests."""
    patch.setattr(approve_stage, "set_alias", lambda *args, **kwargs: True)
    patch.setattr(withdraw_stage, "follow_log", lambda *args: True)
    patch.setattr(reinstate_stage, "follow_log", lambda *args: True)


@pytest.fixture
def _no_registry(monkeypatch: pytest.MonkeyPatch) -> None:
    _quiet(monkeypatch)


@pytest.fixture(scope="session")
def signed_shop(evaluated, now: datetime, tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """The shop with its three entries; do not change it."""
    folder = tmp_path_factory.mktemp("signed") / "ws"
    shutil.copytree(evaluated[0].root, folder)
    ws = Workspace(folder)
    with pytest.MonkeyPatch.context() as patch:
        _quiet(patch)
        approve(ws, "m-0001", by="R. Tern", reason="meets the criteria", now=now + HOUR)
        withdraw(ws, "m-0001", by="A. Knot", reason="to look again", now=now + 2 * HOUR)
        approve(ws, "m-0001", by="R. Tern", reason="looked again", now=now + 3 * HOUR)
    return ws


@pytest.fixture
def shop(signed_shop: Workspace, tmp_path: Path) -> Workspace:
    """A copy of it, to be changed at will."""
    shutil.copytree(signed_shop.root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


@pytest.fixture
def later(now: datetime) -> datetime:
    """A day after the last entry."""
    return now + 24 * HOUR


@pytest.fixture
def decide(tmp_path: Path, later: datetime) -> Callable[..., DecisionRecord]:
    """Classify one seam of a workspace and return what the decisions rest on."""

    def run(ws: Workspace, now: datetime = later) -> DecisionRecord:
        out = tmp_path / f"decided-{len(list(tmp_path.glob('decided-*')))}"
        return classify(ws, seam_ids=["S0001"], out=out, now=now).record

    return run


@pytest.fixture
def forge() -> Callable[[Workspace, Callable[[list[dict]], None]], None]:
    """Change the entries of a log and chain them anew, as somebody would who knows how."""

    def rewrite(ws: Workspace, change: Callable[[list[dict]], None]) -> None:
        entries = [json.loads(line) for line in ws.log_path.read_text("utf-8").splitlines()]
        change(entries)
        previous = "0" * 64
        lines = []
        for entry in entries:
            entry["previous"] = previous
            del entry["digest"]
            # RFC 8785 for what stands in a log: ASCII keys, text, whole numbers, truth values.
            text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
            previous = entry["digest"] = hashlib.sha256(text.encode("utf-8")).hexdigest()
            lines.append(json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n")
        ws.log_path.write_text("".join(lines), "utf-8")

    return rewrite

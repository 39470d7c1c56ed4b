"""A workspace without a model, and trace files of flat seams with bumps."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.watch.live import WatchPlan, watch
from seamtell.pipeline.watch.news import News
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)

WriteTrace = Callable[..., Path]
RunWatch = Callable[..., list[News]]


def trace_text(seam_id: str, *, bump_pct: float = 10.0, seed: int = 1, recipe: str = "R1") -> str:
    x = np.arange(200.0)
    rng = np.random.default_rng(seed)
    bump = bump_pct * np.exp(-0.5 * ((x - 100.0) / 4.0) ** 2)
    specular = 7.0 + rng.normal(0, 0.15, 200) + bump
    scatter = np.clip(0.6 + rng.normal(0, 0.1, 200) + 0.3 * bump, 0, 100)
    rows = (f"{p:.1f},{a:.3f},{b:.3f}" for p, a, b in zip(x, specular, scatter, strict=True))
    head = [
        f"# seam_id: {seam_id}",
        "# welded_at: 2026-05-04T00:00:00Z",
        "# line: L1",
        f"# recipe: {recipe}",
        "position_mm,specular,scatter",
    ]
    return "\n".join([*head, *rows]) + "\n"


def write_trace(folder: Path, seam_id: str, *, name: str = "", **about: Any) -> Path:
    """Write a trace file under a hidden name, then rename it."""
    path = folder / (name or f"{seam_id}.csv")
    hidden = folder / f".{path.name}"
    hidden.write_text(trace_text(seam_id, **about), encoding="utf-8")
    return hidden.rename(path)


def run_once(ws: Workspace, folder: Path, **plan: Any) -> list[News]:
    """Deal with what is in a folder; the news."""
    news: list[News] = []
    settings = {"once": True, "settle_s": 0.05, **plan}
    watch(ws, WatchPlan(folder, **settings), stop=threading.Event(), hear=news.append, clock=lambda: NOW)
    return news


@pytest.fixture
def ws(tmp_path: Path, wide_limits: str) -> Workspace:
    workspace = init_workspace(tmp_path / "ws")
    workspace.limits_path.write_text(wide_limits)
    return workspace


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Publish and try again sooner than in a shop."""
    monkeypatch.setattr("seamtell.pipeline.watch.round._PUBLISH_IDLE_S", 0.2)
    monkeypatch.setattr("seamtell.pipeline.watch.round._RETRY_S", 0.3)


@pytest.fixture
def incoming(tmp_path: Path) -> Path:
    folder = tmp_path / "incoming"
    folder.mkdir()
    return folder


@pytest.fixture(name="write_trace")
def _write_trace() -> WriteTrace:
    return write_trace


@pytest.fixture(name="run_once")
def _run_once() -> RunWatch:
    return run_once


@pytest.fixture(name="trace_text")
def _trace_text() -> Callable[..., str]:
    return trace_text

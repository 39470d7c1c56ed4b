"""The live mode asks before every batch whether the model can be trusted."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.files import decision_folders, read_decisions
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.watch import current_decider
from seamtell.pipeline.watch.current_decider import CurrentDecider
from seamtell.pipeline.watch.live import WatchPlan, watch
from seamtell.pipeline.watch.news import News, SeamDecided, Warned, Watching
from seamtell.pipeline.withdraw import withdraw
from seamtell.pipeline.workspace import Workspace


@pytest.fixture
def ws(trained: Any, tmp_path: Path) -> Workspace:
    return Workspace(shutil.copytree(trained[0].root, tmp_path / "ws"))


def put(ws: Workspace, folder: Path, number: int) -> str:
    """Write a stored seam with a lack of fusion under a new name."""
    trace = SeamStore(ws.traces_dir).get("S0002")
    seam_id = f"live-{number}"
    facts = ("line", "recipe", "coil", "thickness_a_mm", "thickness_b_mm")
    lines = [f"# seam_id: {seam_id}", f"# welded_at: {trace.welded_at.isoformat()}"]
    lines += [f"# {name}: {getattr(trace, name)}" for name in facts]
    lines.append("position_mm,specular,scatter")
    columns = (trace.positions_mm(), trace.amplitudes_pct["specular"], trace.amplitudes_pct["scatter"])
    lines += [f"{x:.1f},{a:.4f},{b:.4f}" for x, a, b in zip(*columns, strict=True)]
    hidden = folder / f".{number}"
    hidden.write_text("\n".join(lines) + "\n")
    hidden.rename(folder / f"{number}.csv")
    return seam_id


@contextmanager
def running(ws: Workspace, folder: Path, news: list[News], now: datetime) -> Iterator[None]:
    stop = threading.Event()
    thread = threading.Thread(
        target=watch,
        args=(ws, WatchPlan(folder, settle_s=0.05, poll_s=0.2)),
        kwargs={"stop": stop, "hear": news.append, "clock": lambda: now},
    )
    thread.start()
    try:
        wait_for(lambda: any(isinstance(one, Watching) for one in news))
        yield
    finally:
        stop.set()
        thread.join()


def wait_for(met: Callable[[], bool]) -> None:
    until = time.monotonic() + 10
    while not met():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.01)


def labels_of_next(ws: Workspace, folder: Path, number: int, news: list[News]) -> tuple[str, ...]:
    seam_id = put(ws, folder, number)
    found: list[SeamDecided] = []

    def there() -> bool:
        found[:] = [one for one in news if isinstance(one, SeamDecided) and one.seam_id == seam_id]
        return bool(found)

    wait_for(there)
    return found[0].labels


def alter_model(ws: Workspace, now: datetime) -> None:
    card = next(iter(sorted((ws.models_dir / "m-0001").iterdir())))
    data = bytearray(card.read_bytes())
    data[len(data) // 2] ^= 1
    card.write_bytes(bytes(data))


def edit_settings(ws: Workspace, now: datetime) -> None:
    text = ws.settings_path.read_text()
    ws.settings_path.write_text(text.replace("leave_sigma = 2.5", "leave_sigma = 2.4"))


def withdraw_model(ws: Workspace, now: datetime) -> None:
    withdraw(ws, "m-0001", by="A. Tester", reason="for a test", now=now + timedelta(seconds=1))


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (withdraw_model, Reason.NO_APPROVED_MODEL),
        (edit_settings, Reason.APPROVAL_BASIS_CHANGED),
        (alter_model, Reason.MODEL_DIGEST_MISMATCH),
    ],
)
def test_what_takes_the_trust_away_while_it_runs_is_seen_before_the_next_decision(
    ws: Workspace, tmp_path: Path, now: datetime, change: Callable[..., None], reason: Reason
) -> None:
    folder, news = tmp_path / "in", []  # type: tuple[Path, list[News]]
    folder.mkdir()
    with running(ws, folder, news, now):
        assert labels_of_next(ws, folder, 1, news) == ("lack_of_fusion",)
        change(ws, now)
        assert labels_of_next(ws, folder, 2, news) == ("unclassified",)
    assert any(isinstance(one, Warned) and "the limit rule decides alone" in one.text for one in news)
    later = [read_decisions(one)[2] for one in sorted(decision_folders(ws))][-1]
    assert (later.model_id, later.model_reason) == ("", reason.value)


def test_a_model_that_hangs_is_left_behind_and_the_limit_rule_decides(
    ws: Workspace, tmp_path: Path, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    trusted = current_decider.trusted_model

    class Hanging:
        def __init__(self, model: Any) -> None:
            self.classes, self.released = model.card.classes, threading.Event()

        def answer(self, values: Any, recipes: Any) -> Any:
            self.released.wait(3)
            raise RuntimeError

    hanging: list[Hanging] = []

    def slow(*args: Any, **kwargs: Any) -> Any:
        from dataclasses import replace

        found = trusted(*args, **kwargs)
        hanging.append(Hanging(found.model))
        return replace(found, model=hanging[-1])

    monkeypatch.setattr(current_decider, "trusted_model", slow)
    monkeypatch.setattr(current_decider, "LIVE_BUDGET_S", 0.05)
    folder, news = tmp_path / "in", []  # type: tuple[Path, list[News]]
    folder.mkdir()
    with running(ws, folder, news, now):
        assert labels_of_next(ws, folder, 1, news) == ("unclassified",)
    for one in hanging:
        one.released.set()
    (decided,) = [one for one in news if isinstance(one, SeamDecided)]
    assert decided.verdict == "reject"
    assert any(isinstance(one, Warned) and "ran out of its time" in one.text for one in news)


def test_the_full_question_is_asked_once_while_nothing_is_touched(
    ws: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[datetime] = []
    trusted = current_decider.trusted_model

    def counted(*args: Any, **kwargs: Any) -> Any:
        asked.append(kwargs["now"])
        return trusted(*args, **kwargs)

    monkeypatch.setattr(current_decider, "trusted_model", counted)
    # As if the files had been touched long ago.
    monkeypatch.setattr(current_decider, "_SETTLED_NS", -(10**9))
    current = CurrentDecider(ws)
    first = current.at(now)
    assert [current.at(now) for _ in range(3)] == [first] * 3
    assert len(asked) == 1
    current.at(now + timedelta(days=1))
    assert len(asked) == 2


def test_files_touched_just_now_are_not_taken_as_settled(
    ws: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A second change within one tick of the file system's clock shows in no time stamp.
    asked: list[int] = []
    trusted = current_decider.trusted_model
    monkeypatch.setattr(current_decider, "trusted_model", lambda *a, **k: asked.append(1) or trusted(*a, **k))
    current = CurrentDecider(ws)
    ws.limits_path.write_bytes(ws.limits_path.read_bytes())
    current.at(now)
    current.at(now)
    assert len(asked) == 2

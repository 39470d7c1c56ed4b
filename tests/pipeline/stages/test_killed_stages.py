"""Describe and classify that die at any moment: the rerun ends with the bytes of a run never killed.

    SEAMTELL_COVERAGE=full pytest tests/pipeline/stages/test_killed_stages.py

kills each stage twenty times instead of four.
"""

from __future__ import annotations

import errno
import multiprocessing
import os
import shutil
import signal
import time
from collections.abc import Callable
from datetime import datetime
from functools import partial
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.classify import classify
from seamtell.pipeline.describe import describe
from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.streaming.unfinished import UNFINISHED_PREFIX, Unfinished
from seamtell.pipeline.workspace import Workspace

KILLS = 20 if os.environ.get("SEAMTELL_COVERAGE") == "full" else 4
UNIT_SEAMS = 10

Run = Callable[[Path], object]


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(params=["describe", "classify"])
def run(request: pytest.FixtureRequest, trained: Any, now: datetime) -> Run:
    """One stage as a call with the folder to write; the inputs are the same in every call."""
    if request.param == "describe":
        return partial(_describe, trained[0])
    return partial(_classify, trained[0], now)


def _describe(ws: Workspace, out: Path) -> None:
    describe(ws, out, unit_seams=UNIT_SEAMS)


def _classify(ws: Workspace, now: datetime, out: Path) -> None:
    classify(ws, out=out, unit_seams=UNIT_SEAMS, now=now)


def test_sigkill_at_random_moments_changes_no_byte_and_doubles_no_row(run: Run, tmp_path: Path) -> None:
    # Children come from a server process that has imported everything, so that many are quick.
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["seamtell.pipeline.classify", "seamtell.pipeline.describe"])

    def start(out: Path) -> BaseProcess:
        child = context.Process(target=run, args=(out,))
        child.start()
        return child

    start(tmp_path / "warm" / "out").join()
    begun = time.monotonic()
    start(tmp_path / "timed" / "out").join()
    whole_s = time.monotonic() - begun
    expected = files(tmp_path / "timed")
    assert len(expected) > 5
    rng = np.random.default_rng(5)
    killed = 0
    for i, delay in enumerate(rng.uniform(0.2 * whole_s, whole_s, KILLS)):
        folder = tmp_path / f"killed-{i}"
        child = start(folder / "out")
        time.sleep(delay)
        child.kill()
        child.join()
        killed += child.exitcode == -signal.SIGKILL
        if (folder / "out").exists():  # a visible result is whole: nothing appears before its time
            left = {name: data for name, data in files(folder).items() if "/." not in name}
            assert left == expected
            continue
        run(folder / "out")
        assert files(folder) == expected
    assert killed


def test_a_disk_that_fills_up_midway_shows_no_half_result_and_the_rerun_goes_on(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(tmp_path / "whole" / "out")
    written = 0
    write_table = pq.ParquetWriter.write_table

    def filling(*args: Any, **kwargs: Any) -> None:
        nonlocal written
        written += 1
        if written > 5:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write_table(*args, **kwargs)

    folder = tmp_path / "filled"
    with monkeypatch.context() as disk:
        disk.setattr(pq.ParquetWriter, "write_table", filling)
        with pytest.raises(StorageProblem, match="the disk is full"):
            run(folder / "out")
    (left,) = folder.iterdir()
    assert left.name.startswith(UNFINISHED_PREFIX)
    finished = {path.name for path in (left / ".units").iterdir()}
    assert finished
    again: list[int] = []
    with monkeypatch.context() as watched:
        finish = Unfinished.finish

        def noted(self: Unfinished, record: Any) -> None:
            again.append(record.number)
            finish(self, record)

        watched.setattr(Unfinished, "finish", noted)
        run(folder / "out")
    assert not finished & {f"{number:06d}.json" for number in again}
    assert files(folder) == files(tmp_path / "whole")


def test_what_a_changed_setting_left_behind_is_not_gone_on_with(
    trained_copy_of: Callable[[str], Workspace],
    tmp_path: Path,
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ws = trained_copy_of("changed")
    finish = Unfinished.finish

    def once(self: Unfinished, record: Any) -> None:
        finish(self, record)
        raise KeyboardInterrupt

    with monkeypatch.context() as stopped:
        stopped.setattr(Unfinished, "finish", once)
        with pytest.raises(KeyboardInterrupt):
            classify(ws, out=tmp_path / "out", unit_seams=UNIT_SEAMS, now=now)
    assert list(tmp_path.glob(f"{UNFINISHED_PREFIX}*"))
    text = ws.settings_path.read_text()
    ws.settings_path.write_text(text.replace("enter_sigma = ", "enter_sigma = 1"))
    assert ws.settings_path.read_text() != text
    classify(ws, out=tmp_path / "out", unit_seams=UNIT_SEAMS, now=now)
    classify(ws, out=tmp_path / "fresh", unit_seams=UNIT_SEAMS, now=now)
    assert files(tmp_path / "out") == files(tmp_path / "fresh")


@pytest.fixture
def trained_copy_of(trained: Any, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Workspace]:
    def copy(name: str) -> Workspace:
        folder = tmp_path_factory.mktemp(name) / "ws"
        shutil.copytree(trained[0].root, folder)
        return Workspace(folder)

    return copy

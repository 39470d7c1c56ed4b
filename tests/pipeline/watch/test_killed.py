"""The live mode killed at any moment and started again: nothing lost, nothing decided on twice.

    SEAMTELL_COVERAGE=full pytest tests/pipeline/watch/test_killed.py

kills in forty workspaces, twice in each, instead of in three.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from seamtell.pipeline.decisions.files import decision_folders, read_decisions
from seamtell.pipeline.store.rejected import read_rejected
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.watch import journal_folders, round
from seamtell.pipeline.watch.live import WatchPlan, watch
from seamtell.pipeline.workspace import Workspace

KILLS = 40 if os.environ.get("SEAMTELL_COVERAGE") == "full" else 3
N_SEAMS = 90


def live(root: Path, folder: Path) -> None:
    """One life."""
    watch(
        Workspace(root),
        WatchPlan(folder, once=True, settle_s=0.02),
        stop=threading.Event(),
        hear=lambda _: None,
        clock=lambda: datetime(2026, 5, 4, tzinfo=UTC),
    )


def live_in_small_steps(root: Path, folder: Path) -> None:
    """One life in a process of its own, in small steps so that a kill falls between any two."""
    round.Round.most_files = 4
    round._PUBLISH_SEAMS = 12
    journal_folders.PART_SEAMS = 20
    live(root, folder)


def outcome(ws: Workspace) -> dict[str, Any]:
    """All that a run leaves, but for the cut into folders and parts."""
    folders = [read_decisions(folder) for folder in decision_folders(ws)]
    decisions = pd.concat([one[1] for one in folders]).sort_values("seam_id", ignore_index=True)
    indications = pd.concat([one[0] for one in folders])
    return {
        "decisions": decisions.to_dict("records"),
        "indications": indications.sort_values(["seam_id", "indication"]).astype(str).to_dict("records"),
        "counted": sum(one[2].counts.seams for one in folders),
        "content": [one[2].input_digest for one in folders],
        "store": SeamStore(ws.traces_dir).metadata()["content_sha256"].sort_values().tolist(),
        "rejected": sorted((row.key, row.status) for row in read_rejected(ws.rejected_dir)),
    }


def test_sigkill_at_random_moments_loses_nothing_and_decides_nothing_twice(
    ws: Workspace, incoming: Path, write_trace: Any, tmp_path: Path
) -> None:
    for i in range(N_SEAMS):
        write_trace(incoming, f"S{i:03d}", bump_pct=0.5 * i, seed=i)
    write_trace(incoming, "S000", name="S000 copy.csv", bump_pct=0.0, seed=0)
    write_trace(incoming, "S001", name="S001 other.csv", bump_pct=9.0)
    (incoming / "S050 bad.csv").write_bytes(b"rubbish")
    (incoming / "S089 empty.csv").write_bytes(b"")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["seamtell.pipeline.watch.live", "seamtell.pipeline.classify"])

    def start(root: Path) -> BaseProcess:
        child = context.Process(target=live_in_small_steps, args=(root, incoming))
        child.start()
        return child

    def copy(name: str) -> Workspace:
        return Workspace(shutil.copytree(ws.root, tmp_path / name))

    start(copy("warm").root).join()
    never_killed = copy("never killed")
    begun = time.monotonic()
    start(never_killed.root).join()
    whole_s = time.monotonic() - begun
    expected = outcome(never_killed)
    assert len(expected["decisions"]) == expected["counted"] == N_SEAMS
    assert len(expected["rejected"]) == 3

    rng = np.random.default_rng(6)
    killed, interrupted = 0, 0
    for life in range(KILLS):
        often = copy(f"killed-{life}")
        # Two in one workspace: what a kill left has to bear the next.
        for _ in range(2):
            child = start(often.root)
            time.sleep(rng.uniform(0.1 * whole_s, 0.7 * whole_s))
            child.kill()
            child.join()
            killed += child.exitcode == -signal.SIGKILL
        interrupted += len(SeamStore(often.traces_dir)) < N_SEAMS
        start(often.root).join()
        assert outcome(often) == expected
    assert killed >= KILLS
    assert interrupted


def test_what_was_decided_survives_the_removal_of_the_file_and_a_kill(
    ws: Workspace, incoming: Path, write_trace: Any, monkeypatch: Any
) -> None:
    """Killed between decision and store: the trace is in the journal, wherever its file went."""

    class Killed(BaseException):
        pass

    def killed(*_: Any) -> None:
        raise Killed

    write_trace(incoming, "S1")
    with monkeypatch.context() as patch:
        patch.setattr(round, "publish", killed)
        with suppress(Killed):
            live(ws.root, incoming)
    assert not len(SeamStore(ws.traces_dir))
    (incoming / "S1.csv").unlink()
    live(ws.root, incoming)
    assert SeamStore(ws.traces_dir).get("S1").n_samples == 200
    assert outcome(ws)["counted"] == 1

"""An ingest that dies at any moment: the store opens, and the rerun completes with every seam once."""

from __future__ import annotations

import multiprocessing
import shutil
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

SEAMS = 20
KILLS = 30


@pytest.fixture
def inbox(shop):
    for i in range(SEAMS):
        text = shop.text(
            seam_id=f"S{i:02}", rows=shop.rows(12, seed=i), welded_at=f"2026-0{1 + i % 2}-02T10:00:00Z"
        )
        shop.write(text, f"{i:02}.csv")
    shop.write("rubbish", "bad.csv")
    return shop.inbox


def assert_whole_after_rerun(ws: Workspace, inbox: Path) -> int:
    """Check the store as the kill left it, then after a rerun; returns how many seams the kill left."""
    store = SeamStore(ws.traces_dir)
    left = [trace.seam_id for trace in store.iter_traces()]
    assert len(set(left)) == len(left) == len(store)
    report = ingest(ws, [inbox])
    assert (report.added, report.unchanged, report.rejected) == (SEAMS - len(left), len(left), 1)
    assert sorted(trace.seam_id for trace in store.iter_traces()) == [f"S{i:02}" for i in range(SEAMS)]
    StoreWriter(
        ws.traces_dir
    )  # the next writer removes what the kill and the writing anew of small parts left
    listed = {ws.traces_dir / part for part in _parts(ws)}
    assert {path for path in ws.traces_dir.rglob("*") if path.is_file()} == listed
    return len(left)


def _parts(ws: Workspace) -> list[str]:
    from seamtell.pipeline.store.manifest import MANIFEST_FILE, read_manifest

    return [MANIFEST_FILE, *(part.path for part in read_manifest(ws.traces_dir).parts)]


def copy_of(ws: Workspace, folder: Path) -> Workspace:
    shutil.copytree(ws.root, folder)
    return Workspace(folder)


def test_sigkill_at_thirty_random_moments_loses_and_doubles_nothing(shop, inbox, tmp_path):
    # Children come from a server process that has imported everything, so that thirty are quick.
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["seamtell.pipeline.ingest.run"])

    def start(ws):
        child = context.Process(target=ingest, args=(ws, [inbox]), kwargs={"commit_seams": 5})
        child.start()
        return child

    start(copy_of(shop.ws, tmp_path / "warm")).join()
    begun = time.monotonic()
    start(copy_of(shop.ws, tmp_path / "timed")).join()
    full_s = time.monotonic() - begun
    rng = np.random.default_rng(7)
    killed = left = 0
    for i in range(KILLS):
        delay = rng.uniform(0, full_s)
        ws = copy_of(shop.ws, tmp_path / f"killed-{i}")
        child = start(ws)
        time.sleep(delay)
        child.kill()
        child.join()
        struck = child.exitcode == -signal.SIGKILL
        # What was done before its kill shows that a run takes less than it did when it was timed.
        killed, full_s = killed + struck, full_s if struck else delay
        left += 0 < assert_whole_after_rerun(ws, inbox) < SEAMS
    # The test means nothing unless most kills struck a running ingest, some of them half-way.
    assert killed > KILLS // 2
    assert left >= 1


class Killed(BaseException):
    """Stands for the end of the process."""


def test_an_end_before_or_after_each_rename_loses_and_doubles_nothing(shop, inbox, tmp_path, monkeypatch):
    renamed = Path.replace
    for strike in range(200):
        at, before = strike // 2 + 1, strike % 2 == 0
        count = 0

        def replace(self, target, at=at, before=before):
            nonlocal count
            count += 1
            if count == at and before:
                raise Killed
            done = renamed(self, target)
            if count == at:
                raise Killed
            return done

        ws = copy_of(shop.ws, tmp_path / f"struck-{strike}")
        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", replace)
            try:
                ingest(ws, [inbox], commit_seams=10)
            except Killed:
                pass
            else:
                break
        assert_whole_after_rerun(ws, inbox)
    assert strike >= 2 * 8, "kept bytes, table of rejections, and two commits of two parts and a manifest"


def test_leftovers_of_a_killed_writer_are_removed_by_the_next(shop, inbox):
    folder = shop.ws.traces_dir / "line=L1" / "month=2026-01"
    folder.mkdir(parents=True)
    (folder / "part-0123.parquet").write_bytes(b"half")
    (folder / ".tmp-abc").write_bytes(b"half")
    assert len(shop.store) == 0
    assert_whole_after_rerun(shop.ws, inbox)

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions.files import decision_folders, newest_decisions, read_decisions
from seamtell.pipeline.errors import BadInput, StorageProblem, WorkspaceBusy
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.store import writer as store_writer
from seamtell.pipeline.store.rejected import read_rejected
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.watch import journal as journal_module
from seamtell.pipeline.watch.intake import Intake
from seamtell.pipeline.watch.journal import Journal
from seamtell.pipeline.watch.live import WatchPlan, watch
from seamtell.pipeline.watch.news import FileKnown, InputRefused, News, SeamDecided, Warned, Watching
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)


def decided(news: list[News]) -> dict[str, str]:
    return {one.seam_id: one.verdict for one in news if isinstance(one, SeamDecided)}


def all_rows(ws: Workspace) -> pd.DataFrame:
    tables = [read_decisions(folder)[1] for folder in sorted(decision_folders(ws))]
    return pd.concat(tables, ignore_index=True)


@contextmanager
def running(ws: Workspace, folder: Path, news: list[News], **plan: Any):  # type: ignore[no-untyped-def]
    """A watch in a thread, until the block ends."""
    stop = threading.Event()
    settings = {"settle_s": 0.05, "poll_s": 0.2, **plan}
    thread = threading.Thread(
        target=watch,
        args=(ws, WatchPlan(folder, **settings)),
        kwargs={"stop": stop, "hear": news.append, "clock": lambda: NOW},
    )
    thread.start()
    try:
        wait_for(lambda: any(isinstance(one, Watching) for one in news))
        yield
    finally:
        stop.set()
        thread.join()


def wait_for(met: Callable[[], bool], seconds: float = 10.0) -> None:
    until = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.01)


def test_a_seam_beyond_the_limit_is_rejected_and_another_is_accepted(ws, incoming, write_trace, run_once):
    write_trace(incoming, "S1", bump_pct=40.0)
    write_trace(incoming, "S2", bump_pct=5.0)
    assert decided(run_once(ws, incoming)) == {"S1": "reject", "S2": "accept"}


def test_the_decisions_are_those_of_classify_on_the_same_seams(ws, incoming, write_trace, run_once, tmp_path):
    for i in range(12):
        write_trace(incoming, f"S{i:02d}", bump_pct=4.0 * i, seed=i)
    run_once(ws, incoming)
    live = read_decisions(newest_decisions(ws))
    classify(ws, out=tmp_path / "out", now=NOW)
    stage = read_decisions(tmp_path / "out")
    for ours, theirs, keys in zip(live[:2], stage[:2], (["seam_id", "indication"], ["seam_id"]), strict=True):
        pd.testing.assert_frame_equal(
            ours.sort_values(keys, ignore_index=True), theirs.sort_values(keys, ignore_index=True)
        )
    assert live[2].counts == stage[2].counts


def test_a_second_run_finds_nothing_to_do(ws, incoming, write_trace, run_once):
    write_trace(incoming, "S1")
    run_once(ws, incoming)
    assert [type(one) for one in run_once(ws, incoming)] == [Watching]
    assert len(all_rows(ws)) == 1


def test_the_same_content_under_another_name_is_known_and_not_decided_on_again(
    ws, incoming, write_trace, run_once
):
    write_trace(incoming, "S1")
    run_once(ws, incoming)
    copy = write_trace(incoming, "S1", name="copy.csv")
    news = run_once(ws, incoming)
    assert news[1:] == [FileKnown(str(copy), 1)]
    assert len(all_rows(ws)) == 1


def test_a_file_that_was_touched_and_holds_the_same_is_not_decided_on_again(
    ws, incoming, write_trace, run_once
):
    path = write_trace(incoming, "S1")
    run_once(ws, incoming)
    path.touch()
    assert not decided(run_once(ws, incoming))


def test_other_content_under_a_known_seam_id_is_a_conflict_and_the_first_stays(
    ws, incoming, write_trace, run_once
):
    write_trace(incoming, "S1", bump_pct=2.0)
    run_once(ws, incoming)
    write_trace(incoming, "S1", name="S1-again.csv", bump_pct=45.0)
    news = run_once(ws, incoming)
    assert not decided(news)
    (refused,) = [one for one in news if isinstance(one, InputRefused)]
    assert refused.conflict
    assert "the verdict on the earlier content was 'accept'" in refused.message
    assert SeamStore(ws.traces_dir).conflicts() == {"S1"}
    assert len(all_rows(ws)) == 1


def test_two_contents_of_one_seam_in_one_batch_are_a_conflict(ws, incoming, write_trace, run_once):
    write_trace(incoming, "S1", name="a.csv", bump_pct=2.0)
    write_trace(incoming, "S1", name="b.csv", bump_pct=3.0)
    news = run_once(ws, incoming)
    assert decided(news) == {"S1": "accept"}
    assert [one.reason for one in news if isinstance(one, InputRefused)] == ["seam_id_conflict"]


def test_a_bad_file_is_kept_aside_with_its_bytes_and_the_others_go_on(ws, incoming, write_trace, run_once):
    write_trace(incoming, "S1")
    (incoming / "bad.csv").write_bytes(b"rubbish")
    news = run_once(ws, incoming)
    assert decided(news) == {"S1": "accept"}
    (row,) = read_rejected(ws.rejected_dir)
    assert (ws.rejected_dir / "files" / row.sha256).read_bytes() == b"rubbish"
    assert not [one for one in run_once(ws, incoming) if isinstance(one, InputRefused)]


def test_a_mended_file_is_decided_on_and_settles_its_rejection(ws, incoming, write_trace, run_once):
    (incoming / "S1.csv").write_bytes(b"rubbish")
    run_once(ws, incoming)
    write_trace(incoming, "S1")
    assert decided(run_once(ws, incoming)) == {"S1": "accept"}
    assert not any(row.is_open for row in read_rejected(ws.rejected_dir))


def test_a_recipe_without_limits_is_rejected_as_ingest_does(ws, incoming, write_trace, run_once):
    write_trace(incoming, "S1", recipe="R9")
    news = run_once(ws, incoming)
    assert [one.reason for one in news if isinstance(one, InputRefused)] == ["unknown_recipe"]


def test_a_seam_that_ingest_stored_before_gets_its_decision(ws, incoming, write_trace, run_once):
    from seamtell.pipeline.ingest.run import ingest

    ingest(ws, [write_trace(incoming, "S1")])
    assert decided(run_once(ws, incoming)) == {"S1": "accept"}
    assert len(SeamStore(ws.traces_dir)) == 1


def test_limits_edited_while_it_runs_hold_for_the_next_seam(ws, incoming, write_trace):
    news: list[News] = []
    with running(ws, incoming, news):
        write_trace(incoming, "S1", bump_pct=15.0)
        wait_for(lambda: "S1" in decided(news))
        ws.limits_path.write_text(ws.limits_path.read_text().replace("specular = 30.0", "specular = 20.0"))
        write_trace(incoming, "S2", bump_pct=15.0)
        wait_for(lambda: "S2" in decided(news))
    assert decided(news) == {"S1": "accept", "S2": "reject"}
    # Each folder says truly what its decisions rest on.
    assert len({read_decisions(folder)[2].limits_digest for folder in decision_folders(ws)}) == 2


def test_broken_limits_hold_all_decisions_back_until_they_are_mended(ws, incoming, write_trace):
    news: list[News] = []
    good = ws.limits_path.read_text()
    with running(ws, incoming, news):
        ws.limits_path.write_text("schema_version = [")
        write_trace(incoming, "S1")
        wait_for(lambda: any(isinstance(one, Warned) for one in news))
        assert not decided(news)
        ws.limits_path.write_text(good)
        wait_for(lambda: "S1" in decided(news))


def test_while_another_command_writes_decisions_go_on_and_reach_the_store_later(ws, incoming, write_trace):
    news: list[News] = []
    with running(ws, incoming, news):
        with workspace_lock(ws):
            write_trace(incoming, "S1")
            wait_for(lambda: "S1" in decided(news))
            wait_for(lambda: any(isinstance(one, Warned) and "another" in one.text for one in news))
            assert not decision_folders(ws)
        wait_for(lambda: bool(decision_folders(ws)))
    assert len(SeamStore(ws.traces_dir)) == 1


def test_a_full_disk_stops_deciding_and_what_waits_is_decided_on_once_there_is_room(
    ws, incoming, write_trace, monkeypatch
):
    news: list[News] = []
    full = threading.Event()
    change = Journal.change

    def filling(self: Journal) -> Any:
        if full.is_set():
            with journal_module._disk(self.path):
                raise sqlite3.OperationalError("database or disk is full")
        return change(self)

    monkeypatch.setattr(Journal, "change", filling)
    with running(ws, incoming, news):
        full.set()
        write_trace(incoming, "S1")
        wait_for(lambda: any(isinstance(one, Warned) and "disk is full" in one.text for one in news))
        assert not decided(news)
        full.clear()
        wait_for(lambda: "S1" in decided(news))


def test_a_store_that_cannot_be_written_keeps_the_seams_in_the_journal(
    ws, incoming, write_trace, run_once, monkeypatch
):
    write_trace(incoming, "S1")

    def refused(*_: Any) -> None:
        raise StorageProblem("the disk is full", where="here", do="free space")

    with monkeypatch.context() as disk:
        disk.setattr(store_writer, "write_manifest", refused)
        with pytest.raises(StorageProblem, match="the disk is full"):
            run_once(ws, incoming)
    (incoming / "S1.csv").unlink()
    run_once(ws, incoming)
    assert SeamStore(ws.traces_dir).get("S1").n_samples == 200
    assert len(all_rows(ws)) == 1


def test_a_store_that_could_not_be_written_for_a_while_gets_every_seam_in_the_end(
    ws, incoming, write_trace, monkeypatch
):
    news: list[News] = []
    full = threading.Event()
    write_manifest = store_writer.write_manifest

    def filling(*args: Any) -> None:
        if full.is_set():
            raise StorageProblem("the disk is full", where="here", do="free space")
        write_manifest(*args)

    monkeypatch.setattr(store_writer, "write_manifest", filling)
    with running(ws, incoming, news):
        full.set()
        write_trace(incoming, "S1")
        wait_for(lambda: any(isinstance(one, Warned) and "disk is full" in one.text for one in news))
        assert "S1" in decided(news)
        full.clear()
        wait_for(lambda: len(SeamStore(ws.traces_dir)) == 1)
    assert len(all_rows(ws)) == 1


def test_a_file_that_goes_on_growing_while_it_is_read_gets_no_decision_before_it_rests(
    ws, incoming, trace_text, monkeypatch
):
    news: list[News] = []
    whole = trace_text("S1", bump_pct=40.0)
    lines = whole.splitlines(keepends=True)
    seams = Intake.seams
    grown = threading.Event()

    def growing(self: Intake, arrival: Any, limits: Any) -> Any:
        yield from seams(self, arrival, limits)
        if not grown.is_set():
            grown.set()
            arrival.path.write_text(whole)

    monkeypatch.setattr(Intake, "seams", growing)
    (incoming / ".S1").write_text("".join(lines[:60]))  # ends before the bump: would be accepted
    (incoming / ".S1").rename(incoming / "S1.csv")
    with running(ws, incoming, news):
        wait_for(lambda: "S1" in decided(news))
    assert decided(news) == {"S1": "reject"}


def test_a_burst_is_taken_in_bounded_batches_and_every_seam_once(ws, incoming, trace_text, monkeypatch):
    n = 5000 if os.environ.get("SEAMTELL_COVERAGE") == "full" else 300
    monkeypatch.setattr("seamtell.pipeline.watch.deciding.BATCH_SEAMS", 64)
    monkeypatch.setattr("seamtell.pipeline.watch.round.BATCH_SEAMS", 64)
    news: list[News] = []
    with running(ws, incoming, news):
        text = trace_text("S-NUMBER")
        for i in range(n):
            (incoming / f".{i}").write_text(text.replace("S-NUMBER", f"S{i:05d}"))
            (incoming / f".{i}").rename(incoming / f"{i:05d}.csv")
        wait_for(lambda: len(decided(news)) == n, 60.0)
    assert sorted(all_rows(ws)["seam_id"]) == [f"S{i:05d}" for i in range(n)]
    with Journal(ws.watch_dir) as journal:
        assert max(batch.seams for batch in journal.batches_of(1)) <= 64


def test_many_seams_in_one_file_are_decided_on_in_pieces(ws, incoming, run_once, monkeypatch):
    monkeypatch.setattr("seamtell.pipeline.watch.round.BATCH_SEAMS", 4)
    rng = np.random.default_rng(3)
    amplitudes = [(7 + rng.normal(0, 0.15, 200)).astype(np.float32) for _ in range(10)]
    table = pa.table(
        {
            "seam_id": [f"S{i}" for i in range(10)],
            "welded_at": [NOW] * 10,
            "line": ["L1"] * 10,
            "recipe": ["R1"] * 10,
            "start_mm": [0.0] * 10,
            "pitch_mm": [1.0] * 10,
            "specular": amplitudes,
            "scatter": amplitudes,
        }
    )
    pq.write_table(table, incoming / "day.parquet")
    assert sorted(decided(run_once(ws, incoming))) == [f"S{i}" for i in range(10)]
    assert not decided(run_once(ws, incoming))
    with Journal(ws.watch_dir) as journal:
        assert [batch.seams for batch in journal.batches_of(1)] == [4, 4, 2]


def test_parts_that_are_full_leave_the_journal_and_every_row_stays(
    ws, incoming, write_trace, run_once, monkeypatch
):
    monkeypatch.setattr("seamtell.pipeline.watch.journal_folders.PART_SEAMS", 3)
    for i in range(8):
        write_trace(incoming, f"S{i}")
        run_once(ws, incoming)
    assert sorted(all_rows(ws)["seam_id"]) == [f"S{i}" for i in range(8)]
    assert len(list(newest_decisions(ws).glob("decisions.parquet/*"))) == 3
    with Journal(ws.watch_dir) as journal:
        assert sum(batch.seams for batch in journal.batches_of(1)) == 2


def test_a_new_day_begins_a_new_folder(ws, incoming, write_trace):
    for i in range(2):
        write_trace(incoming, f"S{i}")
        clock = NOW + timedelta(days=i)
        watch(
            ws,
            WatchPlan(incoming, once=True, settle_s=0.05),
            stop=threading.Event(),
            hear=lambda _: None,
            clock=lambda clock=clock: clock,
        )
    assert sorted(folder.name for folder in decision_folders(ws)) == [
        "20260504T030201Z-watch",
        "20260505T030201Z-watch",
    ]
    assert sorted(all_rows(ws)["seam_id"]) == ["S0", "S1"]
    with Journal(ws.watch_dir) as journal:  # the day that is over is safe in its files
        assert not journal.batches_of(1)


def test_with_once_another_writer_ends_it_and_the_decisions_stay_in_the_journal(
    ws, incoming, write_trace, run_once
):
    write_trace(incoming, "S1")
    with workspace_lock(ws), pytest.raises(WorkspaceBusy, match="the journal keeps the decisions"):
        run_once(ws, incoming)
    assert not decided(run_once(ws, incoming))
    assert all_rows(ws)["seam_id"].tolist() == ["S1"]


def test_a_folder_without_notifications_is_told_and_searched(ws, incoming, write_trace, monkeypatch):
    # Such as when the system's limit of watches is reached.
    monkeypatch.setattr("seamtell.pipeline.watch.notifications.Notifications.start", lambda self: None)
    news: list[News] = []
    with running(ws, incoming, news):
        write_trace(incoming, "S1")
        wait_for(lambda: "S1" in decided(news))
    assert any(isinstance(one, Warned) and "nothing tells of new files" in one.text for one in news)


def test_a_second_watch_on_the_workspace_is_refused(ws, incoming, run_once):
    with running(ws, incoming, []), pytest.raises(WorkspaceBusy, match="another 'seamtell watch'"):
        run_once(ws, incoming)


@pytest.mark.parametrize("place", ["traces", "decisions/x"])
def test_a_folder_of_the_workspace_itself_is_refused(ws, run_once, place):
    (ws.root / place).mkdir(parents=True, exist_ok=True)
    with pytest.raises(BadInput, match="files of the workspace itself"):
        run_once(ws, ws.root / place)


def test_a_folder_that_is_not_there_is_refused(ws, run_once, tmp_path):
    with pytest.raises(BadInput, match="no such folder"):
        run_once(ws, tmp_path / "nowhere")

from __future__ import annotations

import errno
import json
import os
import stat

import numpy as np
import pytest

from seamtell.pipeline.errors import BadInput, StorageProblem, WorkspaceBusy
from seamtell.pipeline.files import atomic
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.ingest.run import ingest

HOSTILE_IDS = [
    "../../etc/passwd",
    "a/b\\c",
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    "@SUM(1+1)",
    "Naht 7 – Straße",
    "con",
    "..",
    "%2e%2e%2f",
]


def tree(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def test_good_seams_go_in_although_others_are_bad(shop):
    for i in range(5):
        shop.write(shop.text(seam_id=f"S{i}", rows=shop.rows(seed=i)), f"{i}.csv")
    shop.write("rubbish", "bad.csv")
    report = shop.take()
    assert (report.files, report.added, report.rejected) == (6, 5, 1)
    assert report.has_rejections
    assert len(shop.store) == 5


def test_the_same_files_twice_change_nothing(shop):
    shop.write(shop.text())
    shop.write("rubbish", "bad.csv")
    shop.take()
    before = tree(shop.ws.root)
    report = shop.take()
    assert (report.added, report.unchanged, report.rejected) == (0, 1, 1)
    assert tree(shop.ws.root) == before


def test_the_same_seam_in_another_format_is_unchanged(shop):
    import pyarrow as pa
    import pyarrow.parquet as pq

    shop.take(shop.write(shop.text(thickness_a_mm="1.5", coil="C7")))
    trace = shop.store.get("S1")
    table = pa.table(
        {
            "seam_id": ["S1"],
            "welded_at": ["2026-03-02T10:00:00+00:00"],
            "line": ["L1"],
            "recipe": ["R1"],
            "coil": ["C7"],
            "thickness_a_mm": [1.5],
            "start_mm": [0.0],
            "pitch_mm": [0.25],
            "specular": [trace.amplitudes_pct["specular"]],
            "scatter": [trace.amplitudes_pct["scatter"]],
        }
    )
    path = shop.inbox / "same.parquet"
    pq.write_table(table, path)
    report = shop.take(path)
    assert (report.added, report.unchanged, report.rows) == (0, 1, ())


def test_the_same_content_gives_the_same_bytes_of_the_store(shop, tmp_path):
    from seamtell.pipeline.init import init_workspace

    shop.write(shop.text())
    shop.take()
    other = init_workspace(tmp_path / "other")
    other.limits_path.write_bytes(shop.ws.limits_path.read_bytes())
    ingest(other, [shop.inbox])
    assert tree(other.traces_dir) == tree(shop.ws.traces_dir)


def test_other_content_under_a_known_id_is_a_conflict_and_both_are_kept(shop):
    shop.take(shop.write(shop.text(rows=shop.rows(seed=1)), "first.csv"))
    second = shop.write(shop.text(rows=shop.rows(seed=2)), "second.csv")
    report = shop.take(second)
    assert (report.added, report.conflicts, report.rejected) == (0, 1, 0)
    (row,) = report.rows
    assert row.reason == "seam_id_conflict"
    assert (shop.ws.rejected_dir / "files" / row.sha256).read_bytes() == second.read_bytes()
    assert shop.store.conflicts() == {"S1"}
    first = [float(r.split(",")[1]) for r in shop.rows(seed=1)]
    np.testing.assert_allclose(shop.store.get("S1").amplitudes_pct["specular"], first, rtol=1e-6)


def test_two_contents_of_one_id_in_one_batch_are_a_conflict(shop):
    shop.write(shop.text(rows=shop.rows(seed=1)), "a.csv")
    shop.write(shop.text(rows=shop.rows(seed=2)), "b.csv")
    report = shop.take()
    assert (report.added, report.conflicts) == (1, 1)


def test_a_mended_file_settles_its_rejection(shop):
    bad = shop.text().replace("7.", "x.", 1)
    path = shop.write(bad)
    shop.take(path)
    shop.write(shop.text())
    report = shop.take(path)
    assert (report.added, report.resolved, report.rows) == (1, 1, ())
    (row,) = shop.rejected()
    assert row.status == "resolved"
    assert (shop.ws.rejected_dir / "files" / row.sha256).read_text() == bad


def test_adding_the_recipe_to_the_limits_settles_the_rejection(shop):
    path = shop.write(shop.text(recipe="R2"))
    assert shop.take(path).rejected == 1
    text = shop.ws.limits_path.read_text()
    shop.ws.limits_path.write_text(text + text[text.index("[recipe.R1]") :].replace("R1", "R2"))
    report = shop.take(path)
    assert (report.added, report.resolved) == (1, 1)


def test_a_file_that_is_bad_in_another_way_replaces_its_open_rejection(shop):
    path = shop.write("rubbish")
    shop.take(path)
    shop.write(shop.text(recipe="R9"))
    shop.take(path)
    assert [(row.reason, row.status) for row in shop.rejected()] == [
        ("missing_column", "resolved"),
        ("unknown_recipe", "open"),
    ]


@pytest.mark.parametrize("seam_id", HOSTILE_IDS)
def test_a_seam_id_may_be_any_printable_text_and_names_no_file(shop, seam_id):
    report = shop.take(shop.write(shop.text(seam_id=seam_id, line=seam_id)))
    assert report.added == 1
    trace = shop.store.get(seam_id)
    assert (trace.seam_id, trace.line) == (seam_id, seam_id)
    for path in shop.ws.root.parent.rglob("*"):
        assert path.is_relative_to(shop.ws.root) or path.is_relative_to(shop.inbox)
    for path in shop.ws.traces_dir.rglob("*.parquet"):
        assert len(path.relative_to(shop.ws.traces_dir).parts) == 3


def test_a_second_ingest_at_once_is_told_so_and_changes_nothing(shop):
    shop.write(shop.text())
    with workspace_lock(shop.ws), pytest.raises(WorkspaceBusy, match="another seamtell command is changing"):
        shop.take()
    assert len(shop.store) == 0
    assert shop.take().added == 1


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "the disk is read-only"),
        (errno.EACCES, "no permission"),
        (errno.EIO, "the disk answers"),
    ],
)
def test_a_failing_disk_is_one_line_and_leaves_the_store_as_it_was(shop, monkeypatch, code, words):
    shop.take(shop.write(shop.text()))
    before = tree(shop.ws.traces_dir)
    shop.write(shop.text(seam_id="S2"), "b.csv")

    def refuse(stream, data):
        stream.write(data[: len(data) // 2])
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(atomic, "_write_all", refuse)
    with pytest.raises(StorageProblem, match=words) as caught:
        shop.take()
    assert "\n" not in str(caught.value)
    assert caught.value.do
    monkeypatch.undo()
    assert tree(shop.ws.traces_dir) == before
    assert shop.take().added == 1


def test_a_workspace_that_cannot_be_locked_is_one_line(shop, monkeypatch):
    from filelock import FileLock

    def refuse(self, **options):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(shop.ws.lock_path))

    monkeypatch.setattr(FileLock, "acquire", refuse)
    shop.write(shop.text())
    with pytest.raises(StorageProblem, match="the disk is read-only"):
        shop.take()


def test_an_unreadable_file_is_listed_and_stops_nothing(shop, monkeypatch):
    from pathlib import Path

    shop.write(shop.text())
    locked = shop.write(shop.text(seam_id="S2"), "locked.csv")
    locked.chmod(stat.S_IWUSR)
    opened = Path.open

    def refuse(self, *args, **options):
        # Root reads everything, so the refusal of the operating system is simulated.
        if self == locked:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))
        return opened(self, *args, **options)

    monkeypatch.setattr(Path, "open", refuse)
    report = shop.take()
    assert report.added == 1
    (row,) = report.rows
    assert (row.reason, row.sha256) == ("unreadable_file", "")


def test_a_wrong_path_is_an_error_with_advice(shop):
    with pytest.raises(BadInput, match="no such file or folder"):
        shop.take(shop.inbox / "nothing.csv")


def test_an_empty_folder_is_an_error_with_advice(shop):
    with pytest.raises(BadInput, match="no trace files in this folder"):
        shop.take()


def test_a_glob_without_a_match_is_an_error(shop):
    with pytest.raises(BadInput, match="no file matches"):
        shop.take(shop.inbox / "*.csv")


def test_globs_and_folders_find_files_below_once(shop):
    shop.write(shop.text(), "deep/er/a.csv")
    shop.write("no trace", "deep/notes.md")
    report = shop.take(shop.inbox, shop.inbox / "**" / "*.csv")
    assert (report.files, report.added) == (1, 1)


def test_the_stores_of_the_workspace_are_never_read_as_input(shop):
    shop.take(shop.write(shop.text()))
    with pytest.raises(BadInput, match="no trace files"):
        shop.take(shop.ws.root)


def test_a_workspace_of_a_newer_version_is_refused(shop):
    shop.ws.settings_path.write_text("schema_version = 99\n")
    shop.write(shop.text())
    with pytest.raises(BadInput, match="schema version 99"):
        shop.take()


def test_a_store_of_a_newer_version_is_refused(shop):
    shop.take(shop.write(shop.text()))
    manifest = shop.ws.traces_dir / "manifest.json"
    document = json.loads(manifest.read_text())
    manifest.write_text(json.dumps({**document, "schema_version": 99}))
    with pytest.raises(BadInput, match="the seam store has schema version 99"):
        shop.take()


def test_further_channels_and_metadata_are_kept(shop):
    rows = [row + ",3.5" for row in shop.rows()]
    text = shop.text(rows, names="position_mm,specular,scatter,mode_b", **{"Heat No.": "H77"})
    shop.take(shop.write(text))
    trace = shop.store.get("S1")
    assert set(trace.amplitudes_pct) == {"specular", "scatter", "mode_b"}
    assert dict(trace.extra) == {"heat_no": "H77"}
    assert list(shop.store.metadata()["heat_no"]) == ["H77"]

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.watch.journal import FileOutcome, FileRow, Journal, KnownFiles
from seamtell.pipeline.watch.trace_files import FileStamp

STAMP = FileStamp(size=10, mtime_ns=1, ctime_ns=2)


def test_a_file_is_known_until_it_is_touched(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        known = KnownFiles(journal.path)
        path = tmp_path / "a.csv"
        assert not known(path, STAMP)
        journal.note_files([FileRow(path, STAMP, FileOutcome.DECIDED)])
        assert known(path, STAMP)
        # A change of permissions alone shows in the last one only.
        assert not known(path, FileStamp(10, 1, 3))
        known.close()


def test_a_change_that_fails_midway_leaves_nothing(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        rows = [("S1", "digest", "accept")] * 2
        with pytest.raises(sqlite3.IntegrityError), journal.change() as base:
            base.executemany("INSERT INTO seams VALUES (?, ?, ?)", rows)
        assert journal.seam("S1") is None


def test_a_seam_can_be_in_it_only_once(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        with journal.change() as base:
            base.execute("INSERT INTO seams VALUES ('S1', 'digest', 'reject')")
        with pytest.raises(sqlite3.IntegrityError), journal.change() as base:
            base.execute("INSERT INTO seams VALUES ('S1', 'other', 'accept')")
        found = journal.seam("S1")
        assert found is not None
        assert found.verdict == "reject"


def test_a_change_is_flushed_to_the_disk(tmp_path: Path) -> None:
    # https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL, which flushes at every commit.
    with Journal(tmp_path) as journal:
        assert journal.rows("PRAGMA synchronous") == [(2,)]


def test_a_damaged_journal_is_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "journal.sqlite").write_bytes(b"no database " * 500)
    with pytest.raises(StorageProblem, match="the journal is damaged"):
        Journal(tmp_path)


def test_a_journal_of_a_newer_seamtell_is_left_alone(tmp_path: Path) -> None:
    with Journal(tmp_path) as journal:
        journal.rows("PRAGMA user_version = 9")
    with pytest.raises(StorageProblem, match="version 9, this seamtell knows 1"):
        Journal(tmp_path)

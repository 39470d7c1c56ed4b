"""What the live mode has done: every file dealt with, every seam decided on, in one SQLite database.

A batch of decisions is one transaction, flushed to the disk: files, seams, the decisions
themselves and the traces they rest on count together or not at all. A seam can be
in it once only. What was decided is then carried to the store and to the decision files,
which can be done again at any time; only what is safe there leaves the journal.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import TracebackType
from typing import Any

from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.files.atomic import make_folder
from seamtell.pipeline.watch.trace_files import FileStamp

__all__ = [
    "JOURNAL_FILE",
    "BatchRow",
    "DecidedSeam",
    "FileOutcome",
    "FileRow",
    "Journal",
    "KnownFiles",
    "put_files",
]

JOURNAL_FILE = "journal.sqlite"
_VERSION = 1
_TABLES = """
CREATE TABLE files (path TEXT PRIMARY KEY, size INTEGER, mtime_ns INTEGER, ctime_ns INTEGER, outcome TEXT)
    WITHOUT ROWID;
CREATE TABLE seams (seam_id TEXT PRIMARY KEY, content_sha256 TEXT NOT NULL, verdict TEXT NOT NULL)
    WITHOUT ROWID;
CREATE TABLE folders (id INTEGER PRIMARY KEY, name TEXT UNIQUE NOT NULL, state TEXT NOT NULL,
    published INTEGER NOT NULL);
CREATE TABLE batches (id INTEGER PRIMARY KEY, folder INTEGER NOT NULL REFERENCES folders,
    part INTEGER NOT NULL, seams INTEGER NOT NULL, decisions BLOB NOT NULL, indications BLOB NOT NULL,
    traces BLOB);
"""


class FileOutcome(StrEnum):
    """What became of a file."""

    DECIDED = "decided"
    """Every seam in it has its decision, from this file or from an earlier one."""
    REJECTED = "rejected"
    """Something in it was rejected or is in conflict, and is listed."""


@dataclass(frozen=True)
class FileRow:
    """A file that was dealt with."""

    path: Path
    stamp: FileStamp
    outcome: FileOutcome


@dataclass(frozen=True)
class DecidedSeam:
    """A seam with its content digest and verdict."""

    seam_id: str
    content_sha256: str
    verdict: str


@dataclass(frozen=True)
class BatchRow:
    """One batch of decisions on its way to the decision files."""

    number: int
    folder: int
    part: int
    seams: int
    decisions: bytes
    indications: bytes


class Journal:
    """The journal in a folder; one process at a time.

    Parameters
    ----------
    folder : Path
        ``Workspace.watch_dir``.

    Raises
    ------
    StorageProblem
        Not writable, damaged, or of a newer seamtell.
    """

    def __init__(self, folder: Path) -> None:
        make_folder(folder)
        self.path = folder / JOURNAL_FILE
        with _disk(self.path):
            self._base = sqlite3.connect(self.path, isolation_level=None)
        try:
            with _disk(self.path):
                # One flush a batch; a file system that cannot do that keeps the slower, equally safe mode.
                self._base.execute("PRAGMA journal_mode=WAL").fetchone()
                self._base.execute("PRAGMA synchronous=FULL")
                self._prepare()
        except BaseException:
            self._base.close()
            raise

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._base.close()

    def _prepare(self) -> None:
        (version,) = self._base.execute("PRAGMA user_version").fetchone()
        if version > _VERSION:
            raise StorageProblem(
                f"the journal has version {version}, this seamtell knows {_VERSION}",
                where=str(self.path),
                do="install a newer seamtell; nothing was changed",
            )
        if version == 0:
            self._base.executescript(f"BEGIN IMMEDIATE;{_TABLES}PRAGMA user_version={_VERSION};COMMIT;")

    @contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """One transaction, on the disk when it is left without an error."""
        with _disk(self.path):
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield self._base
                self._base.execute("COMMIT")
            except BaseException:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """Answer of one query."""
        with _disk(self.path):
            return self._base.execute(query, values).fetchall()

    def seam(self, seam_id: str) -> DecidedSeam | None:
        """What was decided on a seam, or None."""
        found = self.rows("SELECT content_sha256, verdict FROM seams WHERE seam_id = ?", seam_id)
        return DecidedSeam(seam_id, *found[0]) if found else None

    def note_files(self, files: Sequence[FileRow]) -> None:
        """Remember files that brought no new seam."""
        if files:
            with self.change() as base:
                put_files(base, files)

    def waiting_traces(self) -> list[tuple[int, bytes]]:
        """Batches whose seams are not known to be in the store, as Arrow streams of store rows."""
        return self.rows("SELECT id, traces FROM batches WHERE traces IS NOT NULL ORDER BY id")

    def forget_traces(self, batches: Sequence[int]) -> None:
        """The seams of these batches are in the store."""
        with self.change() as base:
            base.executemany("UPDATE batches SET traces = NULL WHERE id = ?", [(one,) for one in batches])

    def batches_of(self, folder: int) -> list[BatchRow]:
        """Batches of a decision folder that are not safe in a full part, in their order."""
        query = (
            "SELECT id, folder, part, seams, decisions, indications FROM batches WHERE folder = ? ORDER BY id"
        )
        return [BatchRow(*row) for row in self.rows(query, folder)]


class KnownFiles:
    """Asks the journal, in any thread.

    Parameters
    ----------
    path : Path
        Of the journal, which exists.
    """

    def __init__(self, path: Path) -> None:
        with _disk(path):
            self._base = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self._path = path
        self._one_asks = threading.Lock()

    def __call__(self, path: Path, stamp: FileStamp) -> bool:
        """Whether a file was dealt with and not touched since."""
        with self._one_asks, _disk(self._path):
            found = self._base.execute(
                "SELECT size, mtime_ns, ctime_ns FROM files WHERE path = ?", (str(path),)
            ).fetchone()
        return bool(found == (stamp.size, stamp.mtime_ns, stamp.ctime_ns))

    def close(self) -> None:
        """Ask no more."""
        self._base.close()


def put_files(base: sqlite3.Connection, files: Sequence[FileRow]) -> None:
    """Remember files, within a transaction."""
    base.executemany(
        "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?)",
        [
            (str(one.path), one.stamp.size, one.stamp.mtime_ns, one.stamp.ctime_ns, one.outcome.value)
            for one in files
        ],
    )


@contextmanager
def _disk(path: Path) -> Iterator[None]:
    """Turn what SQLite says of the disk into one line."""
    try:
        yield
    except sqlite3.OperationalError as problem:
        raise StorageProblem(
            f"the journal cannot be written or read: {problem}",
            where=str(path),
            do="free space, or let your user write there; nothing that was decided is lost",
        ) from None
    except sqlite3.DatabaseError as problem:
        if type(problem) is not sqlite3.DatabaseError:  # the narrower ones are faults of ours
            raise
        raise StorageProblem(
            f"the journal is damaged: {problem}",
            where=str(path),
            do="restore it from a backup; without it every file of the folder counts as new",
        ) from None

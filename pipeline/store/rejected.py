"""What was rejected: its bytes, and one table row that says why and what to do.

Bytes lie in ``rejected/files`` under their own SHA-256, never under a name that
came from outside. The table ``rejected/table.jsonl`` is replaced atomically.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.files.atomic import copy_addressed, storage_errors, write_bytes_atomically
from seamtell.pipeline.files.places import Place

__all__ = [
    "CONFLICT_REASONS",
    "TABLE_FILE",
    "InputKind",
    "RejectedRow",
    "RejectedTable",
    "Status",
    "open_conflicts",
    "read_rejected",
]

TABLE_FILE = "table.jsonl"
_FILES_FOLDER = "files"
CONFLICT_REASONS = frozenset({"seam_id_conflict", "section_id_conflict"})
"""Reasons that a mended file cannot settle: a person says which content holds."""


class InputKind(StrEnum):
    """What the input was meant to be."""

    TRACE = "trace"
    SECTION = "section"
    READING = "reading"
    """What one examiner saw at a section."""


class Status(StrEnum):
    """Whether something is still to be done."""

    OPEN = "open"
    RESOLVED = "resolved"


@dataclass(frozen=True)
class RejectedRow:
    """One rejected file, seam or row.

    Parameters
    ----------
    kind : InputKind
    sha256 : str
        Digest of the kept bytes, and their name in ``rejected/files``; empty when unreadable.
    source : str
        File the bytes came from.
    row : int
        Line of a text file or row of a table, from 1; 0 for the whole file.
    seam_id, section_id : str
        Seam and section concerned; empty when they could not be read or there is none.
    reason, message, do : str
        Code, what is wrong in words, and what to do.
    content_sha256 : str
        For a conflict: digest of the content that lost or waits.
    parsed_sha256 : str
        For a seam conflict: name in ``rejected/files`` of that content as one row of the store.
    status : Status
    resolution : str
        How it was resolved.
    """

    kind: InputKind
    sha256: str
    source: str
    row: int
    seam_id: str
    reason: str
    message: str
    do: str
    section_id: str = ""
    content_sha256: str = ""
    parsed_sha256: str = ""
    status: Status = Status.OPEN
    resolution: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """What makes two rejections the same one."""
        if self.reason in CONFLICT_REASONS:
            return (self.kind, self.reason, self.section_id or self.seam_id, self.content_sha256)
        return (self.kind, self.reason, self.sha256 or self.source, str(self.row), self.seam_id)

    @property
    def is_open(self) -> bool:
        """Whether something is still to be done."""
        return self.status is Status.OPEN

    @property
    def is_conflict(self) -> bool:
        """Whether only a person can settle it."""
        return self.reason in CONFLICT_REASONS


class RejectedTable:
    """The table of rejections of one workspace, in memory until `save`.

    Parameters
    ----------
    folder : Path
        ``Workspace.rejected_dir``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._rows = {row.key: row for row in read_rejected(folder)}
        self._changed = False

    def __iter__(self) -> Iterator[RejectedRow]:
        return iter(self._rows.values())

    def find(self, key: tuple[str, ...]) -> RejectedRow | None:
        """The row with this key, or None."""
        return self._rows.get(key)

    def keep_bytes(self, data: bytes) -> str:
        """Keep bytes under their digest, which is returned."""
        digest = hashlib.sha256(data).hexdigest()
        path = self.folder / _FILES_FOLDER / digest
        if not path.exists():
            write_bytes_atomically(path, data)
        return digest

    def keep_file(self, path: Path) -> str:
        """Keep a file of any size under its digest, which is returned."""
        return copy_addressed(path, self.folder / _FILES_FOLDER)

    def kept(self, sha256: str) -> bytes:
        """Bytes kept earlier."""
        path = self.folder / _FILES_FOLDER / sha256
        with storage_errors(path):
            return path.read_bytes()

    def add(self, row: RejectedRow) -> RejectedRow:
        """Add a row; one that is there already stays, and opens again unless it is a settled conflict."""
        known = self._rows.get(row.key)
        if known is not None and (known.is_open or known.is_conflict):
            return known
        self._rows[row.key] = row
        self._changed = True
        return row

    def resolve(self, wanted: Callable[[RejectedRow], bool], how: str) -> int:
        """Mark every open row that is `wanted` as resolved; returns how many."""
        keys = [key for key, row in self._rows.items() if row.is_open and wanted(row)]
        for key in keys:
            self._rows[key] = replace(self._rows[key], status=Status.RESOLVED, resolution=how)
        self._changed = self._changed or bool(keys)
        return len(keys)

    def save(self) -> None:
        """Replace the table on disk if anything changed.

        Raises
        ------
        StorageProblem
            The disk refuses; the old table then still counts.
        """
        if not self._changed:
            return
        lines = (json.dumps(asdict(row), ensure_ascii=False) for row in self._rows.values())
        text = "".join(line + "\n" for line in lines)
        write_bytes_atomically(self.folder / TABLE_FILE, text.encode("utf-8"))
        self._changed = False


def read_rejected(folder: Path | Place) -> tuple[RejectedRow, ...]:
    """Every row of the table in `folder`, in the order in which they arose.

    Raises
    ------
    StorageProblem
        The table is damaged or not readable.
    """
    path = folder / TABLE_FILE
    try:
        data = _bytes_of(path)
    except FileNotFoundError:
        return ()
    try:
        return tuple(_row(json.loads(line)) for line in data.decode("utf-8").split("\n") if line)
    except (ValueError, TypeError, KeyError):
        raise StorageProblem(
            "the table of rejected input is damaged",
            where=str(path),
            do="restore it from a backup, or move it away and ingest the rejected files again",
        ) from None


def open_conflicts(folder: Path | Place) -> frozenset[str]:
    """Seams of which two contents were ingested and nobody has yet said which holds."""
    rows: Iterable[RejectedRow] = read_rejected(folder)
    return frozenset(
        row.seam_id for row in rows if row.is_open and row.is_conflict and row.kind is InputKind.TRACE
    )


def _bytes_of(path: Path | Place) -> bytes:
    if isinstance(path, Place):
        return path.read_bytes()
    with storage_errors(path), suppress(FileNotFoundError):
        return path.read_bytes()
    raise FileNotFoundError(str(path))


def _row(document: dict[str, Any]) -> RejectedRow:
    return RejectedRow(
        **{**document, "kind": InputKind(document["kind"]), "status": Status(document["status"])}
    )

"""Decision folders of the live mode, as the journal keeps them: what they rest on, and what was counted.

A folder holds the decisions of one day (UTC) that rest on one model, one state of limits,
settings and log. So its record says truly what its decisions rest on, and no seam is in two folders.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from seamtell.pipeline.decisions.tally import Tally
from seamtell.pipeline.sign_off.log_entry import Deviation
from seamtell.pipeline.watch.journal import DecidedSeam, FileRow, Journal, put_files

if TYPE_CHECKING:
    import sqlite3

__all__ = [
    "PART_SEAMS",
    "Basis",
    "DecidedRows",
    "FolderState",
    "note_published",
    "record_batch",
    "unpublished",
]

PART_SEAMS = 1024
"""Seams after which a part of the decision tables is full; a fuller one is never written again."""


class Basis(BaseModel):
    """What decisions rest on."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    day: date
    software_version: str
    model_id: str
    model_digest: str
    model_reason: str
    limits_digest: str
    settings_digest: str
    deviation: Deviation | None
    log_seq: int
    log_digest: str


class FolderState(BaseModel):
    """A decision folder so far.

    Parameters
    ----------
    basis : Basis
    decided_at : datetime
        Last decision.
    tally : Tally
    content_sha256 : str
        Chained over the content digests and ids of its seams, in their order.
    part : int
        Part that is being filled.
    part_seams : int
        Seams in it.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    basis: Basis
    decided_at: datetime
    tally: Tally = Tally()
    content_sha256: str = hashlib.sha256().hexdigest()
    part: int = 0
    part_seams: int = 0


@dataclass(frozen=True)
class DecidedRows:
    """What one batch adds to the journal.

    Parameters
    ----------
    basis : Basis
    decided_at : datetime
        Timezone-aware.
    seams : sequence of DecidedSeam
    tally : Tally
    decisions, indications, traces : bytes
        Arrow streams: rows of the two decision tables, and of the store.
    """

    basis: Basis
    decided_at: datetime
    seams: Sequence[DecidedSeam]
    tally: Tally
    decisions: bytes
    indications: bytes
    traces: bytes


def record_batch(journal: Journal, rows: DecidedRows, files: Sequence[FileRow]) -> None:
    """Make a batch of decisions and the files that are thereby done durable, in one step.

    Raises
    ------
    StorageProblem
        The disk refuses; nothing of the batch then counts.
    """
    with journal.change() as base:
        number, state = _folder_for(base, rows)
        state = _with_batch(state, rows)
        base.executemany(
            "INSERT INTO seams VALUES (?, ?, ?)",
            [(seam.seam_id, seam.content_sha256, seam.verdict) for seam in rows.seams],
        )
        base.execute(
            "INSERT INTO batches (folder, part, seams, decisions, indications, traces) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (number, state.part, len(rows.seams), rows.decisions, rows.indications, rows.traces),
        )
        if state.part_seams >= PART_SEAMS:
            state = state.model_copy(update={"part": state.part + 1, "part_seams": 0})
        _put_state(base, number, state)
        put_files(base, files)


def unpublished(journal: Journal) -> list[tuple[int, str, FolderState]]:
    """Number, name and state of the folders with decisions that the decision files lack."""
    found = journal.rows("SELECT id, name, state FROM folders WHERE NOT published ORDER BY id")
    return [(number, name, FolderState.model_validate_json(state)) for number, name, state in found]


def note_published(journal: Journal, number: int, state: FolderState) -> None:
    """The decision files hold all of `state`: full parts, and what is left of earlier folders, can go."""
    with journal.change() as base:
        base.execute(
            "DELETE FROM batches WHERE folder < ? OR (folder = ? AND part < ?)", (number, number, state.part)
        )
        base.execute("UPDATE folders SET published = 1 WHERE id = ?", (number,))


def _folder_for(base: sqlite3.Connection, rows: DecidedRows) -> tuple[int, FolderState]:
    """The newest folder if it rests on the same, else a new one, named by its first second."""
    found = base.execute("SELECT id, state FROM folders ORDER BY id DESC LIMIT 1").fetchone()
    if found is not None:
        state = FolderState.model_validate_json(found[1])
        if state.basis == rows.basis:
            return found[0], state
    begun = rows.decided_at.astimezone(UTC)
    while base.execute("SELECT 1 FROM folders WHERE name = ?", (_folder_name(begun),)).fetchone():
        begun += timedelta(seconds=1)
    state = FolderState(basis=rows.basis, decided_at=rows.decided_at)
    added = base.execute(
        "INSERT INTO folders (name, state, published) VALUES (?, '', 0)", (_folder_name(begun),)
    )
    return int(added.lastrowid or 0), state


def _folder_name(begun: datetime) -> str:
    """Name of a decision folder; the names of all decisions sort by time."""
    return f"{begun:%Y%m%dT%H%M%SZ}-watch"


def _with_batch(state: FolderState, rows: DecidedRows) -> FolderState:
    digest = state.content_sha256
    for seam in rows.seams:
        line = f"{digest} {seam.content_sha256} {seam.seam_id!r}\n"
        digest = hashlib.sha256(line.encode("utf-8")).hexdigest()
    return state.model_copy(
        update={
            "decided_at": rows.decided_at,
            "tally": state.tally + rows.tally,
            "content_sha256": digest,
            "part_seams": state.part_seams + len(rows.seams),
        }
    )


def _put_state(base: sqlite3.Connection, number: int, state: FolderState) -> None:
    base.execute(
        "UPDATE folders SET state = ?, published = 0 WHERE id = ?", (state.model_dump_json(), number)
    )

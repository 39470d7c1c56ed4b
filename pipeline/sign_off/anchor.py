"""The head of the log, to be kept where nobody who can write into the workspace can reach it.

A hash chain shows that a line inside was altered. It cannot show that the end was cut
off, or that the whole was written anew: a shorter chain is a whole chain too. An anchor
can: the entry that it names must still be there, unchanged.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.log_entry import FIRST_PREVIOUS, LogEntry
from seamtell.pipeline.workspace import Workspace

__all__ = ["Anchor", "anchor_problem", "head_anchor", "read_anchor", "write_anchor"]


class Anchor(BaseModel):
    """The last entry of the log at a moment."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: Literal[1] = 1
    seq: int = Field(ge=0)
    """Number of the entry; 0 when nothing was signed yet."""
    digest: str = Field(pattern=r"^[0-9a-f]{64}$")
    taken_at: datetime


def head_anchor(ws: Workspace, *, now: datetime) -> Anchor:
    """Anchor of the log as it is.

    Raises
    ------
    Refused
        The chain is broken.
    """
    entries = read_log(ws)
    seq, digest = (entries[-1].seq, entries[-1].digest) if entries else (0, FIRST_PREVIOUS)
    return Anchor(seq=seq, digest=digest, taken_at=now.astimezone(UTC))


def write_anchor(ws: Workspace, anchor: Anchor, path: Path) -> None:
    """Write an anchor; over an older one only if the log still holds that one.

    Raises
    ------
    BadInput
        `path` lies in the workspace, or is another file.
    Refused
        The log no longer holds the anchor that is there.
    StorageProblem
    """
    if path.resolve().is_relative_to(ws.root.resolve()):
        raise BadInput(
            "an anchor beside the log that it guards protects nothing",
            where=str(path),
            do="say --out with a place outside the workspace, best on another machine",
        )
    if path.exists():
        problem = anchor_problem(read_anchor(path), read_log(ws))
        if problem:
            raise Refused(
                f"the anchor there was kept as it is: {problem}",
                where=str(path),
                do="run 'seamtell verify --anchor' with it before anything else",
            )
    write_bytes_atomically(path, (anchor.model_dump_json(indent=1) + "\n").encode("utf-8"))


def read_anchor(path: Path) -> Anchor:
    """Read an anchor.

    Raises
    ------
    BadInput
        Not a file that ``seamtell anchor`` wrote.
    """
    with storage_errors(path):
        data = path.read_bytes()
    try:
        return Anchor.model_validate_json(data)
    except ValidationError as problem:
        first = problem.errors()[0]
        raise BadInput(
            f"not an anchor: {'.'.join(map(str, first['loc'])) or 'file'}: {first['msg']}",
            where=str(path),
            do="name a file that 'seamtell anchor --out' wrote",
        ) from None


def anchor_problem(anchor: Anchor, entries: tuple[LogEntry, ...]) -> str:
    """What of the log does not agree with the anchor; empty when it does."""
    if anchor.seq > len(entries):
        return f"the log was cut: the anchor knows entry {anchor.seq}, the log ends with {len(entries)}"
    if anchor.seq and entries[anchor.seq - 1].digest != anchor.digest:
        return f"the log was written anew: entry {anchor.seq} is not the one that the anchor knows"
    for entry in entries[anchor.seq :]:
        if entry.time < anchor.taken_at and not entry.earlier_clock:
            return (
                f"entry {entry.seq} is dated {entry.time:%Y-%m-%d %H:%M:%S} UTC, "
                "before the anchor was taken, yet the anchor does not know it"
            )
    return ""

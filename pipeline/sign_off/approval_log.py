"""The append-only log of approvals, ``approvals.jsonl``: one JSON object a line, hash-chained.

Each entry holds the digest of the one before it and its own, SHA-256 over its
canonical JSON (keys sorted, no spaces, UTF-8). Changing, removing or re-ordering
a line breaks the chain. A chain alone cannot show that its *end* was cut off:
keep the digest of the last entry elsewhere if that matters.

The log is the truth about what is approved; the alias in the model registry
follows it.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.pipeline.errors import BadInput, Refused, StorageProblem
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "FIRST_PREVIOUS",
    "Action",
    "ApprovedModel",
    "LogEntry",
    "ModelState",
    "SignOff",
    "append_entry",
    "approved_model",
    "check_person_text",
    "model_states",
    "read_log",
]

FIRST_PREVIOUS = "0" * 64
"""What the first entry names as the digest before it."""

_RESTORE = "restore approvals.jsonl from a copy; until then the limit rule alone decides"


class Action(StrEnum):
    """What an entry does."""

    APPROVE = "approve"


class ModelState(StrEnum):
    """Where a model stands by the log; a model that the log does not name is a candidate."""

    APPROVED = "approved"
    SUPERSEDED = "superseded"


class SignOff(BaseModel):
    """What a named person signs: the action and the digests of all that it rests on."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    action: Action
    time: datetime
    by: str
    reason: str
    model_id: str
    model_digest: str
    sections_digest: str
    limits_digest: str
    criteria_digest: str
    evaluation_digest: str
    software_version: str


class LogEntry(SignOff):
    """One line of the log: a sign-off in its place of the chain."""

    schema_version: Literal[1] = 1
    seq: int = Field(ge=1)
    previous: str
    digest: str

    def computed_digest(self) -> str:
        """SHA-256 over the canonical JSON of everything but the digest itself."""
        return hashlib.sha256(_canonical(self.model_dump(mode="json", exclude={"digest"}))).hexdigest()


@dataclass(frozen=True)
class ApprovedModel:
    """The model that may label production."""

    model_id: str
    digest: str
    by: str
    approved_at: datetime


def _canonical(document: dict[str, object]) -> bytes:
    # Our keys are ASCII and our values text and small integers: for these this is the
    # JSON Canonicalization Scheme of RFC 8785.
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def check_person_text(value: str, option: str) -> str:
    """Return `value` without outer spaces, if it is printable text and not empty.

    Raises
    ------
    BadInput
        Empty, or with control characters that could act on a terminal.
    """
    text = value.strip()
    if not text:
        raise BadInput(
            "got empty text, expected a name or reason", where=option, do=f"say {option} with some text"
        )
    if not text.isprintable():
        raise BadInput(
            "got characters that cannot be printed", where=option, do="use one line of printable text"
        )
    return text


def _parse(line: str, where: str) -> LogEntry:
    try:
        return LogEntry.model_validate_json(line)
    except ValidationError as problem:
        first = problem.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise Refused(
            f"the approval log cannot be read ({key + ': ' if key else ''}{first['msg']})",
            where=where,
            do=_RESTORE,
        ) from None


def _check_link(entry: LogEntry, seq: int, previous: str, where: str) -> None:
    if entry.seq != seq:
        raise Refused(
            f"the approval log is broken: got entry {entry.seq}, expected {seq}", where=where, do=_RESTORE
        )
    if entry.previous != previous:
        raise Refused(
            "the approval log is broken: the entry does not follow the one before it",
            where=where,
            do=_RESTORE,
        )
    if entry.digest != entry.computed_digest():
        raise Refused(
            "the approval log is broken: the entry was altered after it was signed", where=where, do=_RESTORE
        )


def read_log(ws: Workspace) -> tuple[LogEntry, ...]:
    """Read the log and verify its chain; empty when nothing was ever signed.

    Raises
    ------
    Refused
        A line cannot be read, or the chain is broken; names the line.
    """
    try:
        data = ws.log_path.read_bytes()
    except FileNotFoundError:
        return ()
    except OSError as problem:
        raise StorageProblem(
            f"the approval log cannot be read: {problem.strerror}", where=str(ws.log_path), do=_RESTORE
        ) from None
    if data and not data.endswith(b"\n"):
        raise Refused("the approval log ends in an unfinished line", where=str(ws.log_path), do=_RESTORE)
    entries: list[LogEntry] = []
    previous = FIRST_PREVIOUS
    for number, raw in enumerate(data.split(b"\n")[:-1], start=1):
        where = f"{ws.log_path}, line {number}"
        entry = _parse(raw.decode("utf-8", errors="replace"), where)
        _check_link(entry, number, previous, where)
        entries.append(entry)
        previous = entry.digest
    return tuple(entries)


def _append_durably(path: Path, line: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
    try:
        size = os.fstat(descriptor).st_size
        try:
            if os.write(descriptor, line) != len(line):
                raise OSError("the disk took only part of the line")
            os.fsync(descriptor)
        except OSError:
            os.ftruncate(descriptor, size)  # a half line would break the chain
            raise
    finally:
        os.close(descriptor)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # so that a new file survives a power cut
    finally:
        os.close(folder)


def append_entry(ws: Workspace, sign_off: SignOff) -> LogEntry:
    """Append `sign_off` to the verified log and return the entry, once it is safely on disk.

    Call it with the workspace locked: two writers at once would break the chain.

    Raises
    ------
    Refused
        The log is broken; nothing is appended.
    StorageProblem
        The line could not be written; the log is as before.
    """
    entries = read_log(ws)
    draft = LogEntry(
        **sign_off.model_dump(),
        seq=len(entries) + 1,
        previous=entries[-1].digest if entries else FIRST_PREVIOUS,
        digest="",
    )
    entry = draft.model_copy(update={"digest": draft.computed_digest()})
    try:
        _append_durably(ws.log_path, _canonical(entry.model_dump(mode="json")) + b"\n")
    except OSError as problem:
        raise StorageProblem(
            f"the approval could not be written: {problem.strerror or problem}",
            where=str(ws.log_path),
            do="free space or mend the rights of the folder, then approve again",
        ) from None
    return entry


def model_states(entries: tuple[LogEntry, ...]) -> dict[str, ModelState]:
    """State of each model that the log names: the last approved one, and those it superseded."""
    states: dict[str, ModelState] = {}
    for entry in entries:
        for model_id in states:
            states[model_id] = ModelState.SUPERSEDED
        states[entry.model_id] = ModelState.APPROVED
    return states


def approved_model(ws: Workspace) -> ApprovedModel | None:
    """The model approved last, after verifying the chain; None when none was ever approved.

    Raises
    ------
    Refused
        The log cannot be trusted. Whoever classifies must then let the limit rule decide alone.
    """
    entries = read_log(ws)
    if not entries:
        return None
    last = entries[-1]
    return ApprovedModel(last.model_id, last.model_digest, last.by, last.time)

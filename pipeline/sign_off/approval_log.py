"""The append-only log of approvals, ``approvals.jsonl``: one JSON object a line, hash-chained.

Each entry holds the digest of the one before it and its own, SHA-256 over its
canonical JSON (RFC 8785). Changing, removing or re-ordering a line breaks the chain.
A chain alone cannot show that its *end* was cut off or written anew: keep the digest
of the last entry elsewhere (``seamtell anchor``) if that matters.

The log is the truth about what is approved; the aliases in the model registry
follow it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pydantic import ValidationError

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput, Refused, StorageProblem
from seamtell.pipeline.sign_off.keys import Signer
from seamtell.pipeline.sign_off.log_entry import (
    FIRST_PREVIOUS,
    Action,
    LogEntry,
    SignOff,
    canonical_json_bytes,
)
from seamtell.pipeline.sign_off.never_approved import refuse_physics_only
from seamtell.pipeline.sign_off.states import (
    ModelState,
    approved_standing,
    check_move,
    model_states,
    standings,
)
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
    "deviation_words",
    "log_head",
    "model_states",
    "read_log",
]

_RESTORE = "restore approvals.jsonl from a copy; until then the limit rule alone decides"


@dataclass(frozen=True)
class ApprovedModel:
    """The model that may label production.

    Parameters
    ----------
    model_id, digest : str
    by : str
    approved_at : datetime
    approval : LogEntry
        The entry that put it to work.
    head : LogEntry
        The last entry of the log.
    """

    model_id: str
    digest: str
    by: str
    approved_at: datetime
    approval: LogEntry
    head: LogEntry


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


def _parse(raw: bytes, where: str) -> LogEntry:
    try:
        return LogEntry.model_validate_json(raw.decode("utf-8", errors="replace"))
    except ValidationError as problem:
        first = problem.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise Refused(
            f"the approval log cannot be read ({key + ': ' if key else ''}{first['msg']})",
            where=where,
            do=_RESTORE,
        ) from None


def _check_link(entry: LogEntry, raw: bytes, seq: int, before: LogEntry | None, where: str) -> None:
    if entry.seq != seq:
        problem = f"got entry {entry.seq}, expected {seq}"
    elif entry.previous != (before.digest if before else FIRST_PREVIOUS):
        problem = "the entry does not follow the one before it"
    elif entry.digest != entry.computed_digest() or raw != canonical_json_bytes(entry.document()):
        problem = "the entry was altered after it was signed"
    elif entry.schema_version > 1 and before and entry.time < before.time and not entry.earlier_clock:
        problem = f"the entry is dated {entry.time:%Y-%m-%d %H:%M:%S}, before the entry it follows"
    else:
        return
    raise Refused(f"the approval log is broken: {problem}", where=where, do=_RESTORE)


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
    for number, raw in enumerate(data.split(b"\n")[:-1], start=1):
        where = f"{ws.log_path}, line {number}"
        entry = _parse(raw, where)
        _check_link(entry, raw, number, entries[-1] if entries else None, where)
        entries.append(entry)
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


def append_entry(ws: Workspace, sign_off: SignOff, signer: Signer | None = None) -> LogEntry:
    """Append `sign_off` to the verified log and return the entry, once it is safely on disk.

    Call it with the workspace locked: two writers at once would break the chain.

    Parameters
    ----------
    signer : Signer, optional
        Key that signs the entry.

    Raises
    ------
    Refused
        The log is broken, the move is not allowed, the clock reads a time before the last entry,
        or a model learnt from simulation alone would be put to work; nothing is appended.
    StorageProblem
        The line could not be written; the log is as before.
    """
    if sign_off.action.puts_to_work:
        refuse_physics_only(ws, sign_off.model_id)
    entries = read_log(ws)
    state = model_states(entries).get(sign_off.model_id, ModelState.CANDIDATE)
    check_move(sign_off.action, sign_off.model_id, state)
    _check_clock(sign_off, entries)
    draft = LogEntry(
        **dict(sign_off),
        seq=len(entries) + 1,
        previous=entries[-1].digest if entries else FIRST_PREVIOUS,
        digest="",
    )
    if signer is not None:
        draft = draft.model_copy(update={"signature": signer.sign(draft.content_digest())})
    entry = draft.model_copy(update={"digest": draft.computed_digest()})
    try:
        _append_durably(ws.log_path, canonical_json_bytes(entry.document()) + b"\n")
    except OSError as problem:
        raise StorageProblem(
            f"the approval could not be written: {problem.strerror or problem}",
            where=str(ws.log_path),
            do="free space or mend the rights of the folder, then approve again",
        ) from None
    return entry


def _check_clock(sign_off: SignOff, entries: tuple[LogEntry, ...]) -> None:
    """Refuse a time before the last entry, unless the person said that the last one's clock was wrong."""
    if entries and sign_off.time < entries[-1].time and not sign_off.earlier_clock:
        raise Refused(
            f"the clock reads {sign_off.time:%Y-%m-%d %H:%M:%S} UTC, before the last entry of the log, "
            f"{entries[-1].time:%Y-%m-%d %H:%M:%S} UTC",
            where=f"entry {entries[-1].seq}",
            do="set the clock right; if it was the last entry whose clock was wrong, say --earlier-clock",
        )


def approved_model(ws: Workspace) -> ApprovedModel | None:
    """The model at work, after verifying the chain; None when there is none.

    Raises
    ------
    Refused
        The log cannot be trusted. Whoever classifies must then let the limit rule decide alone.
    """
    entries = read_log(ws)
    standing = approved_standing(entries)
    if standing is None:
        return None
    last = standing.approval
    return ApprovedModel(last.model_id, last.model_digest, last.by, last.time, last, entries[-1])


def log_head(ws: Workspace) -> tuple[int, str]:
    """Number and digest of the last entry, after verifying the chain; 0 and `FIRST_PREVIOUS` without one.

    Kept with every decision, so that it tells how long the log was; a log that cannot be trusted
    gives 0 and no digest.
    """
    try:
        entries = read_log(ws)
    except SeamtellError:
        return 0, ""
    return (entries[-1].seq, entries[-1].digest) if entries else (0, FIRST_PREVIOUS)


def deviation_words(ws: Workspace, model_id: str) -> str:
    """What every report of a model says when its approval was a deviation; empty when it was none."""
    try:
        standing = standings(read_log(ws)).get(model_id)
    except SeamtellError:
        return f"the approval log cannot be trusted, so nothing is known of an approval of {model_id}."
    if standing is None or standing.approval.deviation is None:
        return ""
    return f"{model_id} was {standing.approval.deviation.sentence}. It is {standing.state} now."

"""The record of reference checks: ``health/refchecks.jsonl``, one line a run, only ever added to.

Each line holds the SHA-256 of the line before it, so a line that was changed, left out or
put in between is noticed. A record that cannot be trusted counts as a failed check of
every line.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path

from pydantic import AwareDatetime, BaseModel, ConfigDict, ValidationError

from seamtell.features.contracts import Channel
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.workspace import Workspace

__all__ = ["CheckEntry", "CheckedFlaw", "add_checks", "checks_by_line", "checks_path", "read_checks"]

_FIRST = "0" * 64


class CheckedFlaw(BaseModel):
    """One machined flaw of one run; positions in mm along the blank."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    name: str
    expected_mm: float
    offset_mm: float | None
    """None: missing."""
    peak_pct: dict[Channel, float]
    deviation_db: dict[Channel, float]
    level: Level


class CheckEntry(BaseModel):
    """One run of the reference blank and what was found."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    schema_version: int = 1
    run_id: str
    run_at: AwareDatetime
    checked_at: AwareDatetime
    line: str
    head: str
    blank: str
    blank_digest: str
    warn_db: float
    stop_db: float
    tolerance_mm: float
    flaws: tuple[CheckedFlaw, ...]
    level: Level
    previous_sha256: str = ""

    def to_line(self) -> bytes:
        """The line of the file."""
        return self.model_dump_json().encode("utf-8") + b"\n"


def checks_path(ws: Workspace) -> Path:
    """Where the record is kept."""
    return ws.health_dir / "refchecks.jsonl"


def read_checks(ws: Workspace) -> tuple[CheckEntry, ...]:
    """Read the record in the order in which it was written; empty when there is none.

    Raises
    ------
    StorageProblem
        A line cannot be read, or does not follow from the one before it.
    """
    return _parsed(_bytes_of(checks_path(ws)), checks_path(ws))


def checks_by_line(checks: Iterable[CheckEntry]) -> dict[str, list[CheckEntry]]:
    """The checks of each line, in the order given."""
    by_line: dict[str, list[CheckEntry]] = {}
    for check in checks:
        by_line.setdefault(check.line, []).append(check)
    return by_line


def add_checks(ws: Workspace, entries: Sequence[CheckEntry]) -> tuple[CheckEntry, ...]:
    """Add runs to the record, each later than all of its line that are there.

    Returns
    -------
    tuple of CheckEntry
        As recorded, with the digest that each one follows.

    Raises
    ------
    BadInput
        A run is not later than the last one of its line, or is on record.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    path = checks_path(ws)
    with workspace_lock(ws):
        data = _bytes_of(path)
        last: dict[str, CheckEntry] = {entry.line: entry for entry in _parsed(data, path)}
        added = []
        for entry in entries:
            _require_later(entry, last.get(entry.line), path)
            chained = entry.model_copy(update={"previous_sha256": _digest_of_last(data)})
            data += chained.to_line()
            last[entry.line] = chained
            added.append(chained)
        write_bytes_atomically(path, data)
    return tuple(added)


def _require_later(entry: CheckEntry, last: CheckEntry | None, path: Path) -> None:
    if last is None or entry.run_at > last.run_at:
        return
    same = entry.run_id == last.run_id
    what = "is on record" if same else f"is not later than '{last.run_id}', the last one of its line,"
    raise BadInput(
        f"run '{entry.run_id}' of line '{entry.line}', {_minute(entry.run_at)}, {what} "
        f"({_minute(last.run_at)}); nothing was recorded",
        where=str(path),
        do="give runs in the order in which they were made; mend the time in the trace if it is wrong",
    )


def _minute(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _bytes_of(path: Path) -> bytes:
    with storage_errors(path):
        return path.read_bytes() if path.exists() else b""


def _digest_of_last(data: bytes) -> str:
    lines = data.splitlines(keepends=True)
    return hashlib.sha256(lines[-1]).hexdigest() if lines else _FIRST


def _parsed(data: bytes, path: Path) -> tuple[CheckEntry, ...]:
    entries, expected = [], _FIRST
    for number, line in enumerate(data.splitlines(keepends=True), start=1):
        try:
            entry = CheckEntry.model_validate_json(line)
        except ValidationError as problem:
            raise _broken(path, number, f"not readable: {problem.errors()[0]['msg']}") from None
        if entry.previous_sha256 != expected:
            raise _broken(path, number, "does not follow from the line before it")
        entries.append(entry)
        expected = hashlib.sha256(line).hexdigest()
    return tuple(entries)


def _broken(path: Path, line: int, what: str) -> StorageProblem:
    return StorageProblem(
        f"the record of reference checks is broken: {what}",
        where=f"{path}, line {line}",
        do="restore the file from a copy; until then labels of every line are suspended",
    )

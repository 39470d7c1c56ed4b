"""How long the log was when decisions were made: each decision record names the log's last entry.

So a log that was cut, or restored from an older copy, betrays itself to the decisions
made in between, as long as these are there. Only an anchor kept elsewhere is sure.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.workspace import Workspace

__all__ = ["decision_records", "newest_record", "unknown_head"]

_RECORDS = "*/decision.json"


def decision_records(ws: Workspace) -> list[Path]:
    """Records of the decisions kept in the workspace, oldest folder name first."""
    return sorted(ws.decisions_dir.glob(_RECORDS))


def newest_record(ws: Workspace) -> list[Path]:
    """The record in the folder of the latest name, if any: folders are named by their time."""
    return decision_records(ws)[-1:]


def unknown_head(paths: Iterable[Path], entries: tuple[LogEntry, ...]) -> str:
    """The first record that names an entry which the log does not have, in words; empty for none.

    Raises
    ------
    Refused
        A record cannot be read.
    """
    known = {(entry.seq, entry.digest) for entry in entries}
    for path in paths:
        seq, digest = _head(path)
        if seq and (seq, digest) not in known:
            return (
                f"{path}: made when the log had an entry {seq} that it no longer has, "
                "so the log was cut, written anew or restored from an older copy"
            )
    return ""


def _head(path: Path) -> tuple[int, str]:
    try:
        document = json.loads(path.read_bytes())
        return int(document.get("log_seq", 0)), str(document.get("log_digest", ""))
    except (OSError, ValueError, TypeError, AttributeError):
        raise Refused("the decision record cannot be read", where=str(path), do="restore it") from None

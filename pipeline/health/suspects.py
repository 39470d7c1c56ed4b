"""What was inspected around a check that stopped: since the last good one, until the next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from seamtell.pipeline.decisions.choice import Choice
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.export_text import spreadsheet_safe
from seamtell.pipeline.health.check_record import CheckEntry, read_checks
from seamtell.pipeline.health.suspension import EVER, NEVER, Span, suspect_span
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import stored_column
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Suspects", "write_suspects"]

_COLUMNS = ("seam_id", "welded_at", "line", "recipe")


@dataclass(frozen=True)
class Suspects:
    """Seams that nobody knows to be inspected well.

    Parameters
    ----------
    path : Path
        CSV with one row a seam: seam_id, welded_at, line, recipe.
    since : datetime or None
        The last check that did not stop; None when there never was one.
    until : datetime or None
        The first one after it; None when there was none yet.
    seam_ids : tuple of str
        By time.
    """

    path: Path
    since: datetime | None
    until: datetime | None
    seam_ids: tuple[str, ...]


def write_suspects(ws: Workspace, stopped: CheckEntry) -> Suspects:
    """List the seams that are suspect because of a check on record, as CSV in ``health/``.

    Raises
    ------
    StorageProblem
        The store or the disk refuses.
    """
    span = suspect_span(read_checks(ws), stopped)
    rows = _rows(ws, stopped.line, span)
    place = quote(stopped.line, safe=" ").replace(".", "%2E")
    path = ws.health_dir / f"suspect-{stopped.run_at:%Y%m%dT%H%M%SZ}-{place}.csv"
    write_bytes_atomically(path, rows.map(spreadsheet_safe).to_csv(index=False).encode("utf-8"))
    since = None if span.since == EVER else span.since
    until = None if span.until == NEVER else span.until
    return Suspects(path, since, until, tuple(rows["seam_id"]))


def _rows(ws: Workspace, line: str, span: Span) -> pd.DataFrame:
    import pandas as pd

    parts = Choice(span.since, span.until).parts(ws.traces_dir, read_manifest(ws.traces_dir))
    columns = [list(stored_column(ws.traces_dir, parts, name)) for name in _COLUMNS]
    rows = [row for part in zip(*columns, strict=True) for row in zip(*part, strict=True)]
    wanted = sorted(
        ((at, seam_id, recipe) for seam_id, at, own, recipe in rows
         if own == line and span.since <= at < span.until),
    )  # fmt: skip
    return pd.DataFrame(
        {
            "seam_id": [seam_id for _, seam_id, _ in wanted],
            "welded_at": [at.isoformat() for at, _, _ in wanted],
            "line": [line] * len(wanted),
            "recipe": [recipe for _, _, recipe in wanted],
        }
    )

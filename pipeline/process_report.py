"""The stage *process*: the page that says what dominates, where and since when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.process_page.gather import gather_view
from seamtell.pipeline.process_page.page import process_html
from seamtell.pipeline.process_page.view import ProcessView
from seamtell.pipeline.workspace import Workspace

__all__ = ["PROCESS_PAGE", "ProcessReport", "make_process_page"]

PROCESS_PAGE = "process.html"


@dataclass(frozen=True)
class ProcessReport:
    """The page that was written, and what is on it."""

    path: Path
    view: ProcessView


def make_process_page(
    ws: Workspace,
    decisions: Path | None = None,
    *,
    baseline_weeks: int | None = None,
    out: Path | None = None,
    now: datetime,
) -> ProcessReport:
    """Gather and write the page.

    Parameters
    ----------
    ws : Workspace
    decisions : Path, optional
        Default: the newest decisions. A trial run is only shown when named.
    baseline_weeks : int, optional
        See `gather_view`.
    out : Path, optional
        Default: ``reports/process.html``.
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput, StorageProblem
        See `gather_view`; or the page cannot be written.
    """
    view = gather_view(ws, decisions, baseline_weeks=baseline_weeks, now=now)
    path = out or ws.reports_dir / PROCESS_PAGE
    write_bytes_atomically(path, process_html(view).encode("utf-8"))
    return ProcessReport(path, view)

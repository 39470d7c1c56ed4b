"""The store of destructive sections: one Parquet file, replaced atomically."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pandas as pd

from seamtell.pipeline.files.atomic import write_table_atomically
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.ingest.discover import require_file
from seamtell.pipeline.ingest.reasons import WHAT_TO_DO, InputRejected, ReasonCode
from seamtell.pipeline.ingest.report import IngestReport
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.planned_cuts import read_planned_cuts
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable, Status
from seamtell.pipeline.store.rejected_rows import RejectedRows
from seamtell.pipeline.store.row_tables import given_rows, kept_table
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.section_rows import SECTION_COLUMNS, Section, check_section, read_section_texts
from seamtell.pipeline.workspace import Workspace

__all__ = ["SECTIONS_FILE", "add_sections", "read_sections"]

SECTIONS_FILE = "sections.parquet"
_NUMBERS = frozenset(name for name in SECTION_COLUMNS if name.endswith("_mm"))


def read_sections(workspace: Workspace) -> pd.DataFrame:
    """Every section, sorted by section_id.

    Returns
    -------
    pandas.DataFrame
        `SECTION_COLUMNS`; lengths in mm as float64 (NaN when unknown), the rest text
        (empty when unknown); ``sectioned_on`` is a day such as ``2026-03-31``.

    Raises
    ------
    StorageProblem
        The file is damaged.
    """
    path = workspace.sections_dir / SECTIONS_FILE
    if not path.exists():
        return _frame([])
    return kept_table(path, SECTION_COLUMNS, "the section store")


def add_sections(workspace: Workspace, path: Path, *, replace: bool = False) -> IngestReport:
    """Take in a section table (CSV or Parquet), row by row; bad rows are kept aside.

    Parameters
    ----------
    workspace : Workspace
    path : Path
    replace : bool
        Let a row replace the section of the same id; the old row is kept among the rejected.

    Raises
    ------
    BadInput
        The file as a whole cannot be read; nothing was done.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    read_settings(workspace.settings_path)
    require_file(path)
    with workspace_lock(workspace):
        rows = given_rows(path, read_section_texts, "sections")
        return _SectionRun(workspace, path.absolute(), replace).take(rows)


class _SectionRun:
    """State of one call under the lock."""

    def __init__(self, workspace: Workspace, path: Path, replace: bool) -> None:
        self._workspace = workspace
        self._replace = replace
        self._ends = _seam_ends(workspace)
        self._planned = read_planned_cuts(workspace)
        self._sections = {section.section_id: section for section in _stored(workspace)}
        self._table = RejectedTable(workspace.rejected_dir)
        self._rejected = RejectedRows(self._table, InputKind.SECTION, path)
        self._accepted: set[str] = set()
        self._added = self._unchanged = self._conflicts = self._n_rejected = 0

    def take(self, rows: list[tuple[int, dict[str, str]]]) -> IngestReport:
        for line, row in rows:
            self._take_row(line, row)
        # Rejections first: a kill between the two must not lose one.
        self._table.save()
        if self._added:
            write_table_atomically(
                _frame(sorted(self._sections.values(), key=lambda section: section.section_id)),
                self._workspace.sections_dir / SECTIONS_FILE,
            )
        resolved = self._rejected.resolve_earlier(self._accepted)
        self._table.save()
        return IngestReport(
            files=1,
            added=self._added,
            unchanged=self._unchanged,
            conflicts=self._conflicts,
            rejected=self._n_rejected,
            resolved=resolved,
            rows=self._rejected.still_open,
        )

    def _take_row(self, line: int, row: dict[str, str]) -> None:
        try:
            section = check_section(self._planned.restored(row), self._ends)
            self._planned.check(section)
        except InputRejected as problem:
            self._n_rejected += 1
            self._reject(line, row, problem)
            return
        known = self._sections.get(section.section_id)
        if known is not None and known.content_sha256 == section.content_sha256:
            self._unchanged += 1
        elif known is not None and not self._replace:
            self._conflicts += 1
            clash = InputRejected(
                ReasonCode.SECTION_ID_CONFLICT,
                f"section '{section.section_id}' is stored with other values; the stored ones stay",
                do="give the section another id, mend the row, or add the table with --replace",
            )
            self._reject(line, row, clash, section.content_sha256)
            return
        else:
            if known is not None:
                self._set_aside(known)
            self._sections[section.section_id] = section
            self._added += 1
        self._accepted.add(section.section_id)

    def _reject(self, line: int, row: dict[str, str], problem: InputRejected, content: str = "") -> None:
        ids = {name: row.get(name, "") for name in ("section_id", "seam_id")}
        self._rejected.add(line, problem, content_sha256=content, **ids)

    def _set_aside(self, section: Section) -> None:
        """Keep the row that another replaces."""
        text = _frame([section]).to_csv(index=False)
        self._table.add(
            RejectedRow(
                kind=InputKind.SECTION,
                sha256=self._table.keep_bytes(text.encode("utf-8")),
                source="section store",
                row=0,
                seam_id=section.seam_id,
                section_id=section.section_id,
                reason=ReasonCode.SECTION_ID_CONFLICT,
                message="was in the store and gave way to other values",
                do=WHAT_TO_DO[ReasonCode.SECTION_ID_CONFLICT],
                content_sha256=section.content_sha256,
                status=Status.RESOLVED,
                resolution="gave way",
            )
        )


def _seam_ends(workspace: Workspace) -> dict[str, tuple[float, float]]:
    seams = SeamStore(workspace.traces_dir).metadata()
    ends = seams["start_mm"] + (seams["n_samples"] - 1) * seams["pitch_mm"]
    return dict(zip(seams["seam_id"], zip(seams["start_mm"], ends, strict=True), strict=True))


def _stored(workspace: Workspace) -> Iterator[Section]:
    for row in read_sections(workspace).to_dict("records"):
        yield Section(**{str(name): value for name, value in row.items()})


def _frame(sections: list[Section]) -> pd.DataFrame:
    rows = [asdict(section) for section in sections]
    return pd.DataFrame(
        {
            name: pd.Series([row[name] for row in rows], dtype="float64" if name in _NUMBERS else "str")
            for name in SECTION_COLUMNS
        }
    )

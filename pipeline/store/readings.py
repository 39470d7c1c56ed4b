"""What several examiners saw at the same sections: kept to say how well they agree, for nothing else.

The flaw to learn from stays the one of the section table. A reading is only ever
added: the first one of an examiner at a section stays, since a second look, or a look
after a talk, is no longer independent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

import pandas as pd

from seamtell.features.contracts import Flaw
from seamtell.pipeline.files.atomic import write_table_atomically
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.ingest.discover import require_file
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode
from seamtell.pipeline.ingest.report import IngestReport
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable
from seamtell.pipeline.store.row_tables import given_rows, kept_table
from seamtell.pipeline.store.section_rows import day_of, label_of, read_section_texts, text_of
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

__all__ = ["READINGS_FILE", "READING_COLUMNS", "Reading", "add_readings", "read_readings"]

READINGS_FILE = "readings.parquet"
READING_COLUMNS: tuple[str, ...] = ("section_id", "examiner", "flaw", "read_on")
_REQUIRED = READING_COLUMNS[:3]


@dataclass(frozen=True)
class Reading:
    """What one examiner saw at one section; `read_on` is empty when unknown."""

    section_id: str
    examiner: str
    flaw: str
    read_on: str

    @property
    def key(self) -> tuple[str, str]:
        """An examiner reads a section once."""
        return self.section_id, self.examiner


def read_readings(workspace: Workspace) -> pd.DataFrame:
    """Every reading in the order in which it came in, `READING_COLUMNS`, all text.

    Raises
    ------
    StorageProblem
        The file is damaged.
    """
    path = workspace.sections_dir / READINGS_FILE
    if not path.exists():
        return _frame([])
    return kept_table(path, READING_COLUMNS, "the store of readings")


def add_readings(workspace: Workspace, path: Path) -> IngestReport:
    """Take in a table of readings (CSV or Parquet), row by row; bad rows are kept aside.

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
        rows = given_rows(path, _read_texts, "readings")
        return _ReadingRun(workspace, path.absolute()).take(rows)


def _read_texts(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    return read_section_texts(path, required=_REQUIRED, known=READING_COLUMNS)


class _ReadingRun:
    """State of one call under the lock."""

    def __init__(self, workspace: Workspace, path: Path) -> None:
        self._workspace = workspace
        self._path = path
        self._sections = frozenset(read_sections(workspace)["section_id"])
        self._readings = {reading.key: reading for reading in _stored(workspace)}
        self._table = RejectedTable(workspace.rejected_dir)
        self._bytes = ""
        self._rows: dict[tuple[str, ...], RejectedRow] = {}
        self._added = self._unchanged = self._rejected = 0

    def take(self, rows: list[tuple[int, dict[str, str]]]) -> IngestReport:
        for line, row in rows:
            try:
                self._take_row(_check(row, self._sections))
            except InputRejected as problem:
                self._reject(line, row, problem)
        # Rejections first: a kill between the two must not lose one.
        self._table.save()
        if self._added:
            write_table_atomically(
                _frame(list(self._readings.values())), self._workspace.sections_dir / READINGS_FILE
            )
        resolved = self._table.resolve(
            lambda row: (
                row.kind is InputKind.READING and row.key not in self._rows and row.source == str(self._path)
            ),
            "added again",
        )
        self._table.save()
        return IngestReport(
            files=1,
            added=self._added,
            unchanged=self._unchanged,
            conflicts=0,
            rejected=self._rejected,
            resolved=resolved,
            rows=tuple(self._rows.values()),
        )

    def _take_row(self, reading: Reading) -> None:
        known = self._readings.get(reading.key)
        if known is None:
            self._readings[reading.key] = reading
            self._added += 1
        elif known.flaw == reading.flaw:
            self._unchanged += 1
        else:
            raise InputRejected(
                ReasonCode.READ_ALREADY,
                f"'{reading.examiner}' read section '{reading.section_id}' as {known.flaw} before, "
                f"now as {reading.flaw}; the first reading stays",
            )

    def _reject(self, line: int, row: dict[str, str], problem: InputRejected) -> None:
        self._rejected += 1
        self._bytes = self._bytes or self._table.keep_file(self._path)
        kept = self._table.add(
            RejectedRow(
                kind=InputKind.READING,
                sha256=self._bytes,
                source=str(self._path),
                row=line,
                seam_id="",
                section_id=row.get("section_id", "")[:200],
                reason=problem.code,
                message=problem.message,
                do=problem.do,
            )
        )
        self._rows[kept.key] = kept


def _check(row: Mapping[str, str], sections: frozenset[str]) -> Reading:
    """Check one row.

    Raises
    ------
    InputRejected
        At the first value that cannot be.
    """
    if "" in row:
        raise InputRejected(ReasonCode.FIELD_COUNT, row[""])
    section_id, examiner = text_of(row, "section_id"), text_of(row, "examiner")
    for name, value in (("section_id", section_id), ("examiner", examiner)):
        if not value:
            raise InputRejected(ReasonCode.BAD_VALUE, f"no {name}")
    if section_id not in sections:
        raise InputRejected(ReasonCode.UNKNOWN_SECTION, f"section '{section_id}' is not in the store")
    return Reading(section_id, examiner, label_of(row, "flaw", Flaw), day_of(row, "read_on"))


def _stored(workspace: Workspace) -> Iterator[Reading]:
    for row in read_readings(workspace).to_dict("records"):
        yield Reading(**{str(name): value for name, value in row.items()})


def _frame(readings: list[Reading]) -> pd.DataFrame:
    rows = [asdict(reading) for reading in readings]
    return pd.DataFrame(
        {name: pd.Series([row[name] for row in rows], dtype="str") for name in READING_COLUMNS}
    )

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
from seamtell.pipeline.store.rejected import InputKind, RejectedTable
from seamtell.pipeline.store.rejected_rows import RejectedRows
from seamtell.pipeline.store.row_tables import given_rows, kept_table
from seamtell.pipeline.store.section_rows import day_of, label_of, read_section_texts, required_texts
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
        self._sections = frozenset(read_sections(workspace)["section_id"])
        self._readings = {reading.key: reading for reading in _stored(workspace)}
        self._table = RejectedTable(workspace.rejected_dir)
        self._rejected = RejectedRows(self._table, InputKind.READING, path)
        self._added = self._unchanged = self._n_rejected = 0

    def take(self, rows: list[tuple[int, dict[str, str]]]) -> IngestReport:
        for line, row in rows:
            try:
                self._take_row(_check(row, self._sections))
            except InputRejected as problem:
                self._n_rejected += 1
                self._rejected.add(line, problem, section_id=row.get("section_id", ""))
        # Rejections first: a kill between the two must not lose one.
        self._table.save()
        if self._added:
            write_table_atomically(
                _frame(list(self._readings.values())), self._workspace.sections_dir / READINGS_FILE
            )
        resolved = self._rejected.resolve_earlier()
        self._table.save()
        return IngestReport(
            files=1,
            added=self._added,
            unchanged=self._unchanged,
            conflicts=0,
            rejected=self._n_rejected,
            resolved=resolved,
            rows=self._rejected.still_open,
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


def _check(row: Mapping[str, str], sections: frozenset[str]) -> Reading:
    """Check one row.

    Raises
    ------
    InputRejected
        At the first value that cannot be.
    """
    section_id, examiner = required_texts(row, "section_id", "examiner")
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

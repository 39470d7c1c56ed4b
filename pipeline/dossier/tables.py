"""Tables of a dossier as CSV: numbers at full precision, a figure with all its parts in columns."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from seamtell.pipeline.dossier.content import Cell, Column, Table
from seamtell.pipeline.files.export_text import spreadsheet_safe

__all__ = ["table_csv"]

_PARTS = ("", "_low", "_high", "_n", "_count", "_level", "_method", "_unknown")
"""Columns that stand for a column of figures, each after the key of the column."""


def table_csv(table: Table) -> bytes:
    """The table as UTF-8 CSV that no spreadsheet runs as a formula; equal tables give equal bytes.

    A column with figures becomes eight: the estimate, ``_low``, ``_high``, ``_n``, ``_count``,
    ``_level``, ``_method`` and why it is ``_unknown``. Words that stand in place of a figure go
    into the last. What is not known is empty, never zero.
    """
    figures = [
        any(row[place].estimate is not None for row in table.rows) for place in range(len(table.columns))
    ]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_header(table.columns, figures))
    for row in table.rows:
        writer.writerow(_line(row, figures))
    return text.getvalue().encode("utf-8", "replace")


def _header(columns: Sequence[Column], figures: Sequence[bool]) -> list[str]:
    names: list[str] = []
    for column, expanded in zip(columns, figures, strict=True):
        names.extend(f"{column.key}{part}" for part in _PARTS) if expanded else names.append(column.key)
    return names


def _line(row: Sequence[Cell], figures: Sequence[bool]) -> list[str]:
    line: list[str] = []
    for cell, expanded in zip(row, figures, strict=True):
        line.extend(_parts(cell) if expanded else [_written(cell.value)])
    return line


def _parts(cell: Cell) -> list[str]:
    found = cell.estimate
    if found is None:
        return [*("" for _ in _PARTS[:-1]), _written(cell.value)]
    parts = (found.estimate, found.low, found.high, found.n, found.count, found.level, found.method)
    return [*(_written(part) for part in parts), _written(found.unknown)]


def _written(value: str | int | float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    return spreadsheet_safe(value) if isinstance(value, str) else str(value)

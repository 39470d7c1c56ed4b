"""The section table: reading it as text and checking it row by row."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path

import pyarrow.parquet as pq

from seamtell.features.contracts import Flaw, Purpose, Side
from seamtell.pipeline.ingest.csv_text import read_bounded
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode
from seamtell.pipeline.store.damage import PARQUET_DAMAGE

__all__ = [
    "REQUIRED_COLUMNS",
    "SECTION_COLUMNS",
    "Section",
    "check_section",
    "day_of",
    "label_of",
    "read_section_texts",
    "required_texts",
    "text_of",
]

SECTION_COLUMNS: tuple[str, ...] = (
    "section_id",
    "seam_id",
    "position_mm",
    "position_tol_mm",
    "flaw",
    "side",
    "depth_mm",
    "length_mm",
    "width_mm",
    "purpose",
    "examiner",
    "sectioned_on",
    "note",
)
REQUIRED_COLUMNS: tuple[str, ...] = (
    "section_id",
    "seam_id",
    "position_mm",
    "position_tol_mm",
    "flaw",
    "purpose",
)
_MAX_TEXT = {"note": 1000}
_UNKNOWN = frozenset({"", "-", "n/a", "na", "nan", "none"})


@dataclass(frozen=True)
class Section:
    """One destructive section; sizes are NaN and texts empty when unknown."""

    section_id: str
    seam_id: str
    position_mm: float
    position_tol_mm: float
    flaw: str
    side: str
    depth_mm: float
    length_mm: float
    width_mm: float
    purpose: str
    examiner: str
    sectioned_on: str
    note: str

    @property
    def content_sha256(self) -> str:
        """SHA-256 over every value."""
        facts = {
            key: None if isinstance(value, float) and math.isnan(value) else value
            for key, value in asdict(self).items()
        }
        return hashlib.sha256(json.dumps(facts, sort_keys=True).encode("utf-8")).hexdigest()


def read_section_texts(
    path: Path, *, required: Sequence[str] = REQUIRED_COLUMNS, known: Sequence[str] = SECTION_COLUMNS
) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows of a CSV or Parquet file as texts by column, with their line (or row) number.

    Parameters
    ----------
    path : Path
    required, known : sequence of str, optional
        Columns that must be there, and those that are read from a Parquet file.

    Raises
    ------
    InputRejected
        The file as a whole cannot be read or lacks a column.
    """
    if path.suffix.lower() == ".parquet":
        return iter(_parquet_rows(path, required, known))
    return iter(_csv_rows(path, required))


def _csv_rows(path: Path, required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    data = read_bounded(path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise InputRejected(
            ReasonCode.WRONG_ENCODING, "not UTF-8 text", row=line, do="save the table as UTF-8"
        ) from None
    if "\0" in text:
        raise InputRejected(ReasonCode.BINARY_CONTENT, "not a text file")
    reader = csv.reader(io.StringIO(text, newline=""))
    rows: list[tuple[int, dict[str, str]]] = []
    try:
        names = [name.strip() for name in next(reader)]
        _check_columns(names, required)
        begins = reader.line_num + 1
        for fields in reader:
            if any(field.strip() for field in fields):
                rows.append((begins, _row(names, fields)))
            begins = reader.line_num + 1
    except csv.Error as problem:
        raise InputRejected(ReasonCode.FIELD_COUNT, f"no CSV table: {problem}", row=reader.line_num) from None
    return rows


def _row(names: list[str], fields: list[str]) -> dict[str, str]:
    """Texts by column; a row of another width is marked by the key of no column."""
    row = dict(zip(names, fields, strict=False))
    while len(fields) > len(names) and not fields[-1].strip():
        fields = fields[:-1]
    if len(fields) != len(names):
        row[""] = f"{len(fields)} fields for {len(names)} columns"
    return row


def _parquet_rows(
    path: Path, required: Sequence[str], known: Sequence[str]
) -> list[tuple[int, dict[str, str]]]:
    try:
        table = pq.read_table(path)
        _check_columns(table.column_names, required)
        wanted = [name for name in known if name in table.column_names]
        rows = table.select(wanted).to_pylist()
    except PARQUET_DAMAGE as problem:
        first = (str(problem).splitlines() or [""])[0][:200].rstrip(".")
        raise InputRejected(ReasonCode.UNREADABLE_PARQUET, f"damaged or no Parquet file: {first}") from None
    return [
        (i, {name: _as_text(value) for name, value in row.items()}) for i, row in enumerate(rows, start=1)
    ]


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat()
    return str(value)


def _check_columns(names: list[str], required: Sequence[str]) -> None:
    for name in required:
        if name not in names:
            hint = "separate the columns by commas" if len(names) == 1 else "mend the column names"
            listed = ", ".join(f"'{n[:40]}'" for n in names[:15])
            raise InputRejected(
                ReasonCode.MISSING_COLUMN, f"no column '{name}'; the table has: {listed}", row=1, do=hint
            )
    for name in names:
        if names.count(name) > 1:
            raise InputRejected(ReasonCode.DUPLICATE_COLUMN, f"two columns are called '{name[:80]}'", row=1)


def check_section(row: Mapping[str, str], seam_ends_mm: Mapping[str, tuple[float, float]]) -> Section:
    """Check one row against the lists of labels and the seams of the store.

    Parameters
    ----------
    row : mapping of str to str
    seam_ends_mm : mapping of str to (float, float)
        First and last position of every seam of the store.

    Raises
    ------
    InputRejected
        At the first value that cannot be.
    """
    section_id, seam_id = required_texts(row, "section_id", "seam_id")
    position, tolerance = _number(row, "position_mm"), _number(row, "position_tol_mm")
    for name, number in (("position_mm", position), ("position_tol_mm", tolerance)):
        if math.isnan(number):
            raise InputRejected(ReasonCode.BAD_VALUE, f"no {name}")
    if tolerance < 0:
        raise InputRejected(ReasonCode.BAD_VALUE, f"position_tol_mm {tolerance:g} is below zero")
    ends = seam_ends_mm.get(seam_id)
    if ends is None:
        raise InputRejected(ReasonCode.UNKNOWN_SEAM, f"seam '{seam_id}' is not in the store")
    if not ends[0] <= position <= ends[1]:
        raise InputRejected(
            ReasonCode.BEYOND_SEAM,
            f"position {position:g} mm is beyond the seam, which runs from {ends[0]:g} to {ends[1]:g} mm",
        )
    return Section(
        section_id=section_id,
        seam_id=seam_id,
        position_mm=position,
        position_tol_mm=tolerance,
        flaw=label_of(row, "flaw", Flaw),
        side=label_of(row, "side", Side, Side.NA),
        depth_mm=_size(row, "depth_mm"),
        length_mm=_size(row, "length_mm"),
        width_mm=_size(row, "width_mm"),
        purpose=label_of(row, "purpose", Purpose),
        examiner=text_of(row, "examiner"),
        sectioned_on=day_of(row, "sectioned_on"),
        note=text_of(row, "note"),
    )


def required_texts(row: Mapping[str, str], *names: str) -> list[str]:
    """Texts of cells that must not be empty, of a row with as many fields as there are columns.

    Raises
    ------
    InputRejected
        Another number of fields, or as `text_of`; then a text that is empty.
    """
    if "" in row:
        raise InputRejected(ReasonCode.FIELD_COUNT, row[""])
    texts = [text_of(row, name) for name in names]
    for name, text in zip(names, texts, strict=True):
        if not text:
            raise InputRejected(ReasonCode.BAD_VALUE, f"no {name}")
    return texts


def text_of(row: Mapping[str, str], name: str) -> str:
    """Text of a cell, stripped; empty when unknown.

    Raises
    ------
    InputRejected
        Too long, or with control characters.
    """
    value = row.get(name, "").strip()
    limit = _MAX_TEXT.get(name, 200)
    if len(value) > limit:
        raise InputRejected(ReasonCode.BAD_VALUE, f"{name} has {len(value)} characters, at most {limit}")
    if not value.isprintable():
        raise InputRejected(ReasonCode.BAD_VALUE, f"{name} holds control characters")
    return value


def _number(row: Mapping[str, str], name: str) -> float:
    text = row.get(name, "").strip()
    if text.casefold() in _UNKNOWN:
        return math.nan
    if re.fullmatch(r"[-+]?\d+,\d+", text):
        raise InputRejected(
            ReasonCode.DECIMAL_COMMA, f"{name} '{text[:40]}' has a decimal comma", do="write decimal points"
        )
    try:
        value = math.inf if "_" in text else float(text)
    except ValueError:
        raise InputRejected(ReasonCode.NON_NUMERIC, f"{name} '{text[:40]}' is not a number") from None
    if not math.isfinite(value):
        raise InputRejected(ReasonCode.NOT_FINITE, f"{name} '{text[:40]}' is not a finite number")
    return value


def _size(row: Mapping[str, str], name: str) -> float:
    value = _number(row, name)
    if value < 0:
        raise InputRejected(ReasonCode.BAD_VALUE, f"{name} {value:g} is below zero")
    return value


def label_of(row: Mapping[str, str], name: str, labels: type[StrEnum], default: StrEnum | None = None) -> str:
    """Label of a cell, `default` when it is empty.

    Raises
    ------
    InputRejected
        Not one of `labels`.
    """
    text = row.get(name, "").strip()
    if not text and default is not None:
        return default.value
    known = [label.value for label in labels]
    if text not in known:
        raise InputRejected(
            ReasonCode.UNKNOWN_LABEL, f"{name} '{text[:40]}' is not one of {', '.join(known)}"
        )
    return text


def day_of(row: Mapping[str, str], name: str) -> str:
    """Day of a cell such as ``2026-03-31``, empty when unknown.

    Raises
    ------
    InputRejected
        Not a day.
    """
    text = row.get(name, "").strip()
    if text.casefold() in _UNKNOWN:
        return ""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputRejected(
            ReasonCode.BAD_VALUE, f"{name} '{text[:40]}' is not a day such as 2026-03-31"
        ) from None

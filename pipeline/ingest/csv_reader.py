"""Text trace files. A clean file is read by Arrow; any other line by line, to say what is wrong.

The careful way is the specification; both give the same numbers (a test holds that).
"""

from __future__ import annotations

import io
import re

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from seamtell.pipeline.ingest.csv_text import TextLayout, lay_out, split_fields
from seamtell.pipeline.ingest.metadata import gather
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.raw_seam import ColumnPlan, RawSeam, plan_columns
from seamtell.pipeline.ingest.reasons import InputRejected, Note, NoteCode, ReasonCode

__all__ = ["read_csv_carefully", "read_csv_quickly", "read_csv_seam"]

_INTEGER = re.compile(r"\s*[-+]?\d+\s*")


def read_csv_seam(data: bytes, file_name: str, profile: Profile) -> RawSeam:
    """Read the bytes of one text trace file.

    Raises
    ------
    InputRejected
        Anything that keeps it from being read, with the first line concerned.
    """
    layout = lay_out(data, profile)
    plan = _plan(layout, profile)
    metadata, extra = gather(profile, file_name, layout.header)
    rows: NDArray[np.int64] | None = None
    columns = read_csv_quickly(layout, plan, profile)
    if columns is None:
        columns, rows = read_csv_carefully(layout, plan, profile)
    notes = list(plan.notes)
    if not layout.ends_with_newline:
        notes.append(Note(NoteCode.NO_FINAL_NEWLINE, "the last line has no line end; was the file cut off?"))
    uses_pitch = plan.position is None
    return RawSeam(
        metadata=metadata,
        extra=extra,
        positions=None if plan.position is None else columns[plan.position],
        start_mm=profile.position.start_mm if uses_pitch else None,
        pitch_mm=profile.position.pitch_mm if uses_pitch else None,
        channels={channel: columns[name] for channel, name in plan.channels.items()},
        first_row=layout.first_row,
        rows=rows,
        notes=tuple(notes),
    )


def _plan(layout: TextLayout, profile: Profile) -> ColumnPlan:
    try:
        return plan_columns(list(layout.names), profile, position=profile.position.column or None)
    except InputRejected as problem:
        if problem.code is ReasonCode.MISSING_COLUMN and not any(layout.names):
            raise InputRejected(
                ReasonCode.EMPTY, "header lines only, no column names and no samples"
            ) from None
        if problem.code is ReasonCode.MISSING_COLUMN and len(layout.names) == 1:
            raise InputRejected(
                problem.code,
                f"{problem.message}; only one column with delimiter '{profile.file.delimiter}'",
                row=max(layout.first_row - 1 - profile.file.rows_after_names, 1),
                do="state the delimiter in the input profile ([file] delimiter)",
            ) from None
        raise


def read_csv_quickly(
    layout: TextLayout, plan: ColumnPlan, profile: Profile
) -> dict[str, NDArray[np.float64]] | None:
    """Columns of a clean body, or None when only the careful way can read or explain it."""
    body = layout.body
    if profile.file.delimiter == " " or b"\n\n" in body or body[:1] == b"\n" or not body.strip():
        return None
    try:
        table = pacsv.read_csv(
            io.BytesIO(body),
            read_options=pacsv.ReadOptions(use_threads=False, column_names=list(layout.names)),
            parse_options=pacsv.ParseOptions(delimiter=profile.file.delimiter),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(plan.wanted, pa.float64()),
                include_columns=list(plan.wanted),
                null_values=[],
                decimal_point=profile.file.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None
    columns = {name: table.column(name).to_numpy() for name in plan.wanted}
    return columns if all(np.isfinite(values).all() for values in columns.values()) else None


def read_csv_carefully(
    layout: TextLayout, plan: ColumnPlan, profile: Profile
) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.int64]]:
    """Columns and line numbers, line by line.

    Raises
    ------
    InputRejected
        At the first line that cannot be read.
    """
    lines = layout.body.decode("utf-8").split("\n")
    last = max((i for i, line in enumerate(lines) if line.strip()), default=-1)
    if last < 0:
        raise InputRejected(ReasonCode.EMPTY, "no samples")
    places = [layout.names.index(name) for name in plan.wanted]
    values: list[list[float]] = []
    rows: list[int] = []
    for i in range(last + 1):
        if not lines[i].strip():
            continue
        row = layout.first_row + i
        fields = split_fields(lines[i], profile)
        cut_off = i == last and not layout.ends_with_newline
        _check_count(fields, layout, profile, row, cut_off)
        values.append([_number(fields[at], layout.names[at], row, profile) for at in places])
        rows.append(row)
    array = np.array(values, dtype=np.float64)
    columns = {name: np.ascontiguousarray(array[:, j]) for j, name in enumerate(plan.wanted)}
    return columns, np.array(rows, dtype=np.int64)


def _check_count(fields: list[str], layout: TextLayout, profile: Profile, row: int, cut_off: bool) -> None:
    expected, got = len(layout.names), len(fields)
    while got > expected and not fields[got - 1].strip():
        got -= 1
    if got == expected:
        return
    if got < expected and cut_off:
        raise InputRejected(
            ReasonCode.TRUNCATED, f"the last line has {got} of {expected} fields and no line end", row=row
        )
    if got > expected and profile.file.delimiter == "," and all(_INTEGER.fullmatch(f) for f in fields if f):
        raise InputRejected(
            ReasonCode.DECIMAL_COMMA,
            f"{got} whole numbers for {expected} columns: decimal commas read as column marks",
            row=row,
        )
    raise InputRejected(ReasonCode.FIELD_COUNT, f"{got} fields for {expected} columns", row=row)


def _number(text: str, name: str, row: int, profile: Profile) -> float:
    text = text.strip()
    decimal = profile.file.decimal
    plain = text.replace(",", ".") if decimal == "," and "." not in text else text
    try:
        # float() takes "1_000" for a number; no instrument writes that.
        if "_" in text or (decimal == "," and "." in text):
            raise ValueError
        value = float(plain)
    except ValueError:
        shown = f"'{text[:40]}'" if text else "an empty field"
        if decimal == "." and re.fullmatch(r"[-+]?\d+,\d+", text):
            raise InputRejected(
                ReasonCode.DECIMAL_COMMA, f"column '{name}': {shown} has a decimal comma", row=row
            ) from None
        raise InputRejected(
            ReasonCode.NON_NUMERIC, f"column '{name}': {shown} is not a number", row=row
        ) from None
    if not np.isfinite(value):
        raise InputRejected(
            ReasonCode.NOT_FINITE, f"column '{name}': {text[:40]} is not a finite number", row=row
        )
    return value

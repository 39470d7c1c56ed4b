"""Parquet trace files: one seam a row with lists of samples, or one sample a row.

Record batches are streamed, so a file with many seams may be larger than memory.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from seamtell.pipeline.ingest.metadata import gather
from seamtell.pipeline.ingest.parquet_columns import (
    EXTRA_COLUMN,
    ReadItem,
    as_text,
    is_list,
    numbers,
    one_row_bytes,
    plan_parquet,
)
from seamtell.pipeline.ingest.parquet_samples import samples_a_row
from seamtell.pipeline.ingest.profile import REQUIRED_METADATA, Profile
from seamtell.pipeline.ingest.raw_seam import ColumnPlan, RawSeam
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode
from seamtell.pipeline.store.damage import PARQUET_DAMAGE

__all__ = ["fits_parquet", "read_parquet_seams"]

BATCH_SEAMS = 256


def read_parquet_seams(path: Path, profile: Profile) -> Iterator[ReadItem]:
    """Read every seam of one Parquet file.

    Raises
    ------
    InputRejected
        The file as a whole cannot be read, or lacks a column.
    """
    file = _open(path)
    with file:
        schema = file.schema_arrow
        try:
            if _has_lists(schema, profile):
                yield from _seams_a_row(file, path.name, profile)
            else:
                yield from samples_a_row(file, path.name, profile)
        except PARQUET_DAMAGE as problem:
            raise InputRejected(ReasonCode.UNREADABLE_PARQUET, f"damaged: {_first_line(problem)}") from None


def fits_parquet(path: Path, profile: Profile) -> bool:
    """Whether a file has every column that a profile needs, by its schema alone.

    Required metadata may also come from the profile's constants or from the file name.
    """
    try:
        with _open(path) as file:
            schema = file.schema_arrow
        plan_parquet(schema, profile, lists=_has_lists(schema, profile))
    except InputRejected:
        return False
    there = {profile.ours_by_shop_key.get(name.strip().casefold()) for name in schema.names}
    there |= profile.constants.keys()
    there |= profile.file_name_regex.groupindex.keys() if profile.file_name_regex else set()
    return there >= set(REQUIRED_METADATA)


def _open(path: Path) -> pq.ParquetFile:
    try:
        with path.open("rb") as stream:
            start = stream.read(4)
            stream.seek(-min(4, path.stat().st_size), io.SEEK_END)
            end = stream.read(4)
    except OSError as problem:
        raise InputRejected(ReasonCode.UNREADABLE_FILE, f"cannot be read: {problem.strerror}") from None
    if not start:
        raise InputRejected(ReasonCode.EMPTY, "the file is empty")
    if start != b"PAR1":
        raise InputRejected(ReasonCode.UNREADABLE_PARQUET, "not a Parquet file")
    if end != b"PAR1":
        raise InputRejected(ReasonCode.TRUNCATED, "the Parquet file has no end mark")
    try:
        return pq.ParquetFile(path)
    except PARQUET_DAMAGE as problem:
        raise InputRejected(ReasonCode.UNREADABLE_PARQUET, f"damaged: {_first_line(problem)}") from None


def _first_line(problem: Exception) -> str:
    return (str(problem).splitlines() or ["unknown"])[0][:200]


def _has_lists(schema: pa.Schema, profile: Profile) -> bool:
    return any(
        name in schema.names and is_list(schema.field(name).type) for name in profile.channels.values()
    )


def _seams_a_row(file: pq.ParquetFile, file_name: str, profile: Profile) -> Iterator[ReadItem]:
    schema = file.schema_arrow
    plan, plain, has_position = plan_parquet(schema, profile, lists=True)
    total = file.metadata.num_rows
    if total == 0:
        raise InputRejected(ReasonCode.EMPTY, "no seams")
    row = 0
    for batch in file.iter_batches(batch_size=BATCH_SEAMS):
        facts = batch.select(plain).to_pylist()
        extras = _extras(batch)
        for i in range(batch.num_rows):
            row += 1
            own = partial(_slice_bytes, batch, i) if total > 1 else None
            where = row if total > 1 else 0
            try:
                seam = _seam_of_row(batch, i, facts[i], extras[i], plan, has_position, file_name, profile)
            except InputRejected as problem:
                yield ReadItem(where, problem, own)
            else:
                yield ReadItem(where, seam, own)


def _slice_bytes(batch: pa.RecordBatch, i: int) -> bytes:
    return one_row_bytes(pa.Table.from_batches([batch.slice(i, 1)]))


def _extras(batch: pa.RecordBatch) -> list[dict[str, str]]:
    """The shop's own metadata, where the file has it as a map."""
    if EXTRA_COLUMN not in batch.schema.names:
        return [{} for _ in range(batch.num_rows)]
    column = batch.column(EXTRA_COLUMN)
    if not pa.types.is_map(column.type):
        raise InputRejected(ReasonCode.EXTRA_COLUMN, f"column '{EXTRA_COLUMN}' is not a map of texts")
    return [{str(key): as_text(value) for key, value in pairs or ()} for pairs in column.to_pylist()]


def _seam_of_row(
    batch: pa.RecordBatch,
    i: int,
    facts: Mapping[str, Any],
    extra_map: Mapping[str, str],
    plan: ColumnPlan,
    has_position: bool,
    file_name: str,
    profile: Profile,
) -> RawSeam:
    grid_columns = {profile.parquet.start_column, profile.parquet.pitch_column}
    pairs = [(key, as_text(value)) for key, value in facts.items() if key not in grid_columns]
    metadata, extra = gather(profile, file_name, [*pairs, *extra_map.items()])
    channels = {channel: _list_at(batch, name, i) for channel, name in plan.channels.items()}
    positions = _list_at(batch, plan.position, i) if has_position and plan.position else None
    lengths = {len(values) for values in channels.values()} | (
        {len(positions)} if positions is not None else set()
    )
    if len(lengths) > 1:
        found = ", ".join(str(length) for length in sorted(lengths))
        raise InputRejected(ReasonCode.LENGTH_MISMATCH, f"lists of different length: {found}")
    start_mm, pitch_mm = _grid(facts, profile) if positions is None else (None, None)
    return RawSeam(metadata, extra, positions, start_mm, pitch_mm, channels, notes=plan.notes)


def _grid(facts: Mapping[str, Any], profile: Profile) -> tuple[float, float]:
    """Start and pitch of a row without positions, in mm."""
    start = facts.get(profile.parquet.start_column, profile.position.start_mm)
    pitch = facts.get(profile.parquet.pitch_column, profile.position.pitch_mm)
    try:
        start, pitch = float(start), float(pitch)
    except (TypeError, ValueError):
        raise InputRejected(ReasonCode.NON_NUMERIC, "start or pitch is not a number") from None
    if not (math.isfinite(start) and math.isfinite(pitch) and pitch > 0):
        raise InputRejected(
            ReasonCode.NOT_FINITE, f"start {start:g} and pitch {pitch:g}: expected numbers, pitch above zero"
        )
    return start, pitch


def _list_at(batch: pa.RecordBatch, name: str, i: int) -> NDArray[np.float64]:
    value = batch.column(name)[i]
    if not is_list(value.type):
        raise InputRejected(ReasonCode.NON_NUMERIC, f"column '{name}' holds no lists of samples")
    if not value.is_valid:
        raise InputRejected(ReasonCode.EMPTY, f"column '{name}' holds no samples")
    return numbers(value.values, name)

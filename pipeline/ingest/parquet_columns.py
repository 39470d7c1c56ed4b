"""What the two layouts of a Parquet trace file share: columns, values as text, one item a seam."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.raw_seam import ColumnPlan, RawSeam, plan_columns
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = ["EXTRA_COLUMN", "ReadItem", "as_text", "is_list", "numbers", "one_row_bytes", "plan_parquet"]

EXTRA_COLUMN = "extra"
"""A column of this name may hold the shop's own metadata as a map of texts."""


@dataclass(frozen=True, eq=False)
class ReadItem:
    """One seam of a file, or why it could not be read.

    Parameters
    ----------
    row : int
        Row of the seam from 1; 0 when the file holds one seam.
    outcome : RawSeam or InputRejected
    own_bytes : callable or None
        Gives the seam's own bytes; None when they are those of the whole file.
    """

    row: int
    outcome: RawSeam | InputRejected
    own_bytes: Callable[[], bytes] | None = None


def one_row_bytes(table: pa.Table) -> bytes:
    """A table of few rows as the bytes of a small Parquet file."""
    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd")
    return buffer.getvalue()


def is_list(kind: pa.DataType) -> bool:
    """Whether a column holds a list a row."""
    return bool(pa.types.is_list(kind) or pa.types.is_large_list(kind) or pa.types.is_fixed_size_list(kind))


def _metadata_columns(schema: pa.Schema, plan_names: frozenset[str]) -> list[str]:
    """Columns that hold one text, number or time a row."""
    return [
        field.name
        for field in schema
        if field.name not in plan_names and not is_list(field.type) and not pa.types.is_nested(field.type)
    ]


def plan_parquet(schema: pa.Schema, profile: Profile, lists: bool) -> tuple[ColumnPlan, list[str], bool]:
    """Column plan, metadata columns, and whether there is a column of positions."""
    position = profile.position.column
    has_position = (
        bool(position) and position in schema.names and is_list(schema.field(position).type) == lists
    )
    named = {*profile.channels.values(), *([position] if has_position else [])}
    ignored = frozenset(profile.columns.ignored)
    if lists:
        plain = _metadata_columns(schema, frozenset(named) | ignored)
    else:
        shop_keys = profile.ours_by_shop_key
        # Texts, times and whatever the profile names are metadata; other numbers may be channels.
        plain = [
            field.name
            for field in schema
            if field.name not in named | ignored
            and (field.name.strip().casefold() in shop_keys or not _is_number(field.type))
        ]
    known = frozenset({*plain, EXTRA_COLUMN})
    needs_position = has_position or (not lists and bool(position))
    plan = plan_columns(schema.names, profile, position=position if needs_position else None, known=known)
    if lists and not has_position and profile.position.pitch_mm is None:
        _need(schema, position, profile)
    return plan, plain, has_position


def _need(schema: pa.Schema, position: str, profile: Profile) -> None:
    for name in (profile.parquet.start_column, profile.parquet.pitch_column):
        if name not in schema.names:
            raise InputRejected(
                ReasonCode.MISSING_COLUMN, f"no column '{name}', and no list of positions called '{position}'"
            )


def _is_number(kind: pa.DataType) -> bool:
    return bool(pa.types.is_floating(kind) or pa.types.is_integer(kind) or pa.types.is_decimal(kind))


def numbers(values: pa.Array, name: str) -> NDArray[np.float64]:
    """Values as float64, NaN where one is empty."""
    if not _is_number(values.type):
        raise InputRejected(ReasonCode.NON_NUMERIC, f"column '{name}' holds {values.type}, not numbers")
    array: NDArray[np.float64] = values.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return array


def as_text(value: object) -> str:
    """A metadata value as text; typed times become ISO 8601."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value)

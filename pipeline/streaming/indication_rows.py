"""Described seams as an Arrow table: one row per indication, with the seam's metadata."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from seamtell.features.described_batch import DescribedBatch
from seamtell.features.describer import INDICATION_COLUMNS
from seamtell.features.descriptors.registry import names
from seamtell.pipeline.decisions.text_columns import member_names

__all__ = ["SEAM_COLUMNS", "indication_rows", "indications_schema"]

SEAM_COLUMNS: tuple[str, ...] = (
    "recipe",
    "line",
    "coil",
    "shift",
    "welded_at",
    "thickness_a_mm",
    "thickness_b_mm",
    "conflict",
)
"""Metadata of the seam beside each indication. ``conflict``: the seam has two differing traces."""


def indications_schema() -> pa.Schema:
    """Columns and types of ``indications.parquet``."""
    kinds = {
        "indication": pa.int64(),
        "exceeds_limit": pa.bool_(),
        "conflict": pa.bool_(),
        "welded_at": pa.timestamp("us", tz="UTC"),
    }
    text = {"seam_id", "channels", "exceeded_channels", "recipe", "line", "coil", "shift"}
    columns = (*INDICATION_COLUMNS, *SEAM_COLUMNS, *names())
    return pa.schema(
        [(name, pa.string() if name in text else kinds.get(name, pa.float64())) for name in columns]
    )


def indication_rows(
    facts: pa.Table, channels: tuple[str, ...], found: DescribedBatch, conflicts: Collection[str]
) -> pa.Table:
    """Lay out the indications of some seams.

    Parameters
    ----------
    facts : pyarrow.Table of n rows
        ``seam_id`` and `SEAM_COLUMNS` but the last, of each seam.
    channels : tuple of str
        Of the batch that was described.
    found : DescribedBatch
        Of the same n seams.
    conflicts : collection of str
        Seams with two differing traces.

    Returns
    -------
    pyarrow.Table
        `indications_schema`.
    """
    owner = facts.take(pa.array(found.seam))
    columns: dict[str, pa.Array | pa.ChunkedArray] = {
        "seam_id": owner.column("seam_id"),
        "indication": pa.array(found.indication.astype(np.int64)),
        "start_mm": pa.array(found.start_mm),
        "end_mm": pa.array(found.end_mm),
        "peak_mm": pa.array(found.peak_mm),
        "exceeds_limit": pa.array(found.exceeded.any(axis=1)),
        "channels": member_names(channels, found.shown),
        "exceeded_channels": member_names(channels, found.exceeded),
        "conflict": pc.is_in(owner.column("seam_id"), pa.array(sorted(conflicts), pa.string())),
    }
    columns.update({name: owner.column(name) for name in SEAM_COLUMNS if name != "conflict"})
    by_column = np.ascontiguousarray(found.descriptors.T)
    columns.update({name: pa.array(by_column[k]) for k, name in enumerate(names())})
    schema = indications_schema()
    return pa.Table.from_arrays([_cast(columns[one.name], one.type) for one in schema], schema=schema)


def _cast(column: pa.Array | pa.ChunkedArray, kind: pa.DataType) -> pa.Array | pa.ChunkedArray:
    return column if column.type == kind else column.cast(kind)

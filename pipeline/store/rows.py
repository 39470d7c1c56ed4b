"""One seam as one row of the store: the Arrow columns, both ways, and the content digest.

| column | type |
| --- | --- |
| seam_id, line, recipe, coil, shift, source, content_sha256 | string |
| welded_at | timestamp in microseconds, UTC |
| thickness_a_mm, thickness_b_mm, speed_m_per_min | double, null when unknown |
| start_mm, pitch_mm | double |
| n_samples | int32 |
| saturated | bool: some sample at 100 % or above |
| extra | map of string to string |
| ch_<channel> | list of float32, % FSH; one column a channel, null where a seam lacks it, never null inside |
"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, SeamTrace

__all__ = [
    "CHANNEL_PREFIX",
    "ROW_GROUP_SEAMS",
    "SATURATION_PCT",
    "SCALAR_COLUMNS",
    "StoredSeam",
    "content_sha256",
    "part_bytes",
    "table_bytes",
    "to_table",
    "traces_of",
]

CHANNEL_PREFIX = "ch_"
ROW_GROUP_SEAMS = 256
SATURATION_PCT = 100.0

_FIELDS: tuple[tuple[str, pa.DataType], ...] = (
    ("seam_id", pa.string()),
    ("welded_at", pa.timestamp("us", tz="UTC")),
    ("line", pa.string()),
    ("recipe", pa.string()),
    ("coil", pa.string()),
    ("shift", pa.string()),
    ("thickness_a_mm", pa.float64()),
    ("thickness_b_mm", pa.float64()),
    ("speed_m_per_min", pa.float64()),
    ("start_mm", pa.float64()),
    ("pitch_mm", pa.float64()),
    ("n_samples", pa.int32()),
    ("saturated", pa.bool_()),
    ("content_sha256", pa.string()),
    ("source", pa.string()),
    ("extra", pa.map_(pa.string(), pa.string())),
)
_SAMPLES = pa.list_(pa.field("element", pa.float32(), nullable=False))
"""Without marks of what is null inside, which would take a sixth of the time to read; parts that have them
are read alike."""

SCALAR_COLUMNS: tuple[str, ...] = tuple(name for name, _ in _FIELDS)
"""Every column but the amplitudes."""

_UNKNOWN_IS_NAN = ("thickness_a_mm", "thickness_b_mm", "speed_m_per_min")


@dataclass(frozen=True, eq=False)
class StoredSeam:
    """A seam with the name of the file it came from and its content digest."""

    trace: SeamTrace
    source: str
    sha256: str


def content_sha256(trace: SeamTrace) -> str:
    """SHA-256 over everything the contract holds: metadata, grid and amplitudes, not the source.

    Parameters
    ----------
    trace : SeamTrace

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    facts = {
        "seam_id": trace.seam_id,
        "welded_at": trace.welded_at.astimezone(UTC).isoformat(timespec="microseconds"),
        "line": trace.line,
        "recipe": trace.recipe,
        "coil": trace.coil,
        "shift": trace.shift,
        **{name: _none_for_nan(getattr(trace, name)) for name in _UNKNOWN_IS_NAN},
        "start_mm": trace.start_mm,
        "pitch_mm": trace.pitch_mm,
        "extra": dict(trace.extra),
        "channels": sorted(trace.amplitudes_pct),
        "n_samples": trace.n_samples,
    }
    digest = hashlib.sha256(json.dumps(facts, sort_keys=True, ensure_ascii=False).encode("utf-8"))
    for channel in sorted(trace.amplitudes_pct):
        digest.update(np.ascontiguousarray(trace.amplitudes_pct[channel], dtype="<f4").tobytes())
    return digest.hexdigest()


def to_table(seams: Sequence[StoredSeam]) -> pa.Table:
    """Rows of the store, in the order given."""
    rows = [_scalars(seam) for seam in seams]
    arrays = {name: pa.array([row[name] for row in rows], type=kind) for name, kind in _FIELDS}
    further = sorted({channel for seam in seams for channel in seam.trace.amplitudes_pct} - set(CHANNELS))
    for channel in (*CHANNELS, *further):
        arrays[CHANNEL_PREFIX + channel] = _lists(seams, channel)
    return pa.table(arrays)


def part_bytes(seams: Sequence[StoredSeam]) -> bytes:
    """Bytes of one Parquet part file; the same seams in the same order give the same bytes."""
    return table_bytes(to_table(seams))


def table_bytes(table: pa.Table) -> bytes:
    """Bytes of one Parquet part file of rows of `to_table`."""
    lists = [f"{name}.list.element" for name in table.column_names if name.startswith(CHANNEL_PREFIX)]
    buffer = io.BytesIO()
    pq.write_table(
        table,
        buffer,
        row_group_size=ROW_GROUP_SEAMS,
        compression="zstd",
        use_dictionary=["line", "recipe", "coil", "shift"],
        # Neighbouring amplitudes share sign and exponent: splitting the bytes packs and reads better.
        use_byte_stream_split=lists,
    )
    return buffer.getvalue()


def traces_of(table: pa.Table) -> Iterator[SeamTrace]:
    """Seams of a table, one a row, in order; amplitudes are views of its buffers (read-only)."""
    table = table.combine_chunks()
    scalars = table.select(list(SCALAR_COLUMNS)).to_pylist()
    channels = {
        name.removeprefix(CHANNEL_PREFIX): _rows_of_lists(table.column(name))
        for name in table.column_names
        if name.startswith(CHANNEL_PREFIX)
    }
    for i, facts in enumerate(scalars):
        amplitudes = {name: row for name, rows in channels.items() if (row := rows[i]) is not None}
        yield SeamTrace(
            seam_id=facts["seam_id"],
            welded_at=facts["welded_at"].astimezone(UTC),
            line=facts["line"],
            recipe=facts["recipe"],
            start_mm=facts["start_mm"],
            pitch_mm=facts["pitch_mm"],
            amplitudes_pct=amplitudes,
            coil=facts["coil"],
            shift=facts["shift"],
            **{name: math.nan if facts[name] is None else facts[name] for name in _UNKNOWN_IS_NAN},
            extra=dict(facts["extra"]),
        )


def _scalars(seam: StoredSeam) -> dict[str, object]:
    trace = seam.trace
    peak = max(float(np.max(values)) for values in trace.amplitudes_pct.values())
    return {
        "seam_id": trace.seam_id,
        "welded_at": trace.welded_at,
        "line": trace.line,
        "recipe": trace.recipe,
        "coil": trace.coil,
        "shift": trace.shift,
        **{name: _none_for_nan(getattr(trace, name)) for name in _UNKNOWN_IS_NAN},
        "start_mm": trace.start_mm,
        "pitch_mm": trace.pitch_mm,
        "n_samples": trace.n_samples,
        "saturated": peak >= SATURATION_PCT,
        "content_sha256": seam.sha256,
        "source": seam.source,
        "extra": sorted(trace.extra.items()),
    }


def _none_for_nan(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _lists(seams: Sequence[StoredSeam], channel: str) -> pa.Array:
    parts = [seam.trace.amplitudes_pct.get(channel) for seam in seams]
    lengths = np.array([0 if part is None else len(part) for part in parts], dtype=np.int64)
    offsets = np.concatenate(([0], np.cumsum(lengths))).astype(np.int32)
    present = [np.asarray(part, dtype=np.float32) for part in parts if part is not None]
    values = np.concatenate(present) if present else np.zeros(0, dtype=np.float32)
    absent = pa.array([part is None for part in parts], type=pa.bool_())
    return pa.ListArray.from_arrays(pa.array(offsets), pa.array(values), type=_SAMPLES, mask=absent)


def _rows_of_lists(column: pa.ChunkedArray) -> list[NDArray[np.float32] | None]:
    """One float32 view a row, None where the row has no such channel."""
    rows: list[NDArray[np.float32] | None] = []
    for chunk in column.chunks:
        values = chunk.values.to_numpy(zero_copy_only=True)
        offsets = chunk.offsets.to_numpy()
        valid = chunk.is_valid().to_numpy(zero_copy_only=False)
        rows.extend(values[offsets[i] : offsets[i + 1]] if valid[i] else None for i in range(len(chunk)))
    return rows

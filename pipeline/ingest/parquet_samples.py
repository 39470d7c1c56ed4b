"""Parquet trace files with one sample a row: one seam a file, or a column of seam ids."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.pipeline.ingest.metadata import gather
from seamtell.pipeline.ingest.parquet_columns import ReadItem, as_text, numbers, one_row_bytes, plan_parquet
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.raw_seam import ColumnPlan, RawSeam
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = ["samples_a_row"]

MAX_SAMPLES = 10_000_000
"""Longest seam with one sample a row."""


def samples_a_row(file: pq.ParquetFile, file_name: str, profile: Profile) -> Iterator[ReadItem]:
    """Read every seam of a file with one sample a row.

    Raises
    ------
    InputRejected
        The file as a whole lacks a column or holds no samples.
    """
    schema = file.schema_arrow
    plan, plain, _ = plan_parquet(schema, profile, lists=False)
    if file.metadata.num_rows == 0:
        raise InputRejected(ReasonCode.EMPTY, "no samples")
    header = [
        (key.decode("utf-8", "replace"), value.decode("utf-8", "replace"))
        for key, value in (schema.metadata or {}).items()
        if key not in (b"ARROW:schema", b"pandas")
    ]
    id_column = next(
        (name for name in plain if profile.ours_by_shop_key.get(name.casefold()) == "seam_id"), None
    )
    for row, table, is_whole_file in _groups(file, id_column):
        own = None if is_whole_file else partial(one_row_bytes, table)
        try:
            seam = _seam_of_samples(table, row, header, plain, plan, file_name, profile)
        except InputRejected as problem:
            yield ReadItem(row if own else 0, problem, own)
        else:
            yield ReadItem(row if own else 0, seam, own)


def _groups(file: pq.ParquetFile, id_column: str | None) -> Iterator[tuple[int, pa.Table, bool]]:
    """Runs of rows with one seam id: first row from 1, the rows, and whether they are all of the file."""
    total = file.metadata.num_rows
    if id_column is None:
        if total > MAX_SAMPLES:
            raise InputRejected(ReasonCode.FILE_TOO_LARGE, f"{total} samples without a column of seam ids")
        yield 1, file.read(), True
        return
    first, waiting = 1, None
    for batch in file.iter_batches(batch_size=1 << 16):
        table = pa.Table.from_batches([batch])
        table = table if waiting is None else pa.concat_tables([waiting, table])
        ids = np.array(table.column(id_column).to_pylist(), dtype=object)
        starts = [0, *(np.flatnonzero(ids[1:] != ids[:-1]) + 1).tolist()]
        for begin, end in pairwise(starts):
            yield first, table.slice(begin, end - begin), False
            first += end - begin
        waiting = table.slice(starts[-1])
        if waiting.num_rows > MAX_SAMPLES:
            raise InputRejected(ReasonCode.FILE_TOO_LARGE, f"more than {MAX_SAMPLES} samples in one seam")
    if waiting is not None:
        yield first, waiting, waiting.num_rows == total


def _seam_of_samples(
    table: pa.Table,
    row: int,
    header: list[tuple[str, str]],
    plain: list[str],
    plan: ColumnPlan,
    file_name: str,
    profile: Profile,
) -> RawSeam:
    pairs = list(header)
    for name in plain:
        values = table.column(name).unique()
        if len(values) > 1:
            raise InputRejected(
                ReasonCode.BAD_METADATA, f"column '{name}' has {len(values)} values in one seam"
            )
        pairs.append((name, as_text(values[0].as_py())))
    metadata, extra = gather(profile, file_name, pairs)
    columns = {name: numbers(table.column(name).combine_chunks(), name) for name in plan.wanted}
    uses_pitch = plan.position is None
    return RawSeam(
        metadata,
        extra,
        None if plan.position is None else columns[plan.position],
        profile.position.start_mm if uses_pitch else None,
        profile.position.pitch_mm if uses_pitch else None,
        {channel: columns[name] for channel, name in plan.channels.items()},
        first_row=row,
        notes=plan.notes,
    )

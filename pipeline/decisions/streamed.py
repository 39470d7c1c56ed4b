"""The two tables of a folder of decisions batch by batch: nothing grows with their length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.pipeline.decisions.files import (
    DECISIONS_FILE,
    INDICATIONS_FILE,
    TRIAL_LABEL,
    DecisionRecord,
    TrialRecord,
    damaged_decisions,
)

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["decided_seams", "indication_batches"]


def indication_batches(
    folder: Path, record: DecisionRecord, columns: Sequence[str]
) -> Iterator[dict[str, pa.Array]]:
    """Columns of the indications, batch by batch; the labels of a trial run are in ``label`` too.

    Raises
    ------
    BadInput
        The table is damaged.
    """
    stored = [TRIAL_LABEL if c == "label" and isinstance(record, TrialRecord) else c for c in columns]
    for batch in _batches(folder, INDICATIONS_FILE, stored):
        yield dict(zip(columns, (batch.column(name) for name in stored), strict=True))


def decided_seams(folder: Path) -> Iterator[tuple[pa.Array, pa.Array]]:
    """Ids and reasons of the seams that were decided on, batch by batch.

    Raises
    ------
    BadInput
        The table is damaged.
    """
    for batch in _batches(folder, DECISIONS_FILE, ["seam_id", "reason"]):
        yield batch.column("seam_id"), batch.column("reason")


def _batches(folder: Path, name: str, columns: list[str]) -> Iterator[pa.RecordBatch]:
    import pyarrow.dataset as ds

    from seamtell.pipeline.store.damage import PARQUET_DAMAGE

    try:
        yield from ds.dataset(folder / name, format="parquet").to_batches(columns=columns)
    except (*PARQUET_DAMAGE, ValueError) as problem:
        raise damaged_decisions(problem, folder) from None

"""One door to both formats: the seams of a file, whatever it is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from seamtell.pipeline.ingest.csv_reader import read_csv_seam
from seamtell.pipeline.ingest.csv_text import read_bounded
from seamtell.pipeline.ingest.parquet_columns import ReadItem
from seamtell.pipeline.ingest.parquet_reader import read_parquet_seams
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.reasons import InputRejected

__all__ = ["read_seams"]


def read_seams(path: Path, profile: Profile) -> Iterator[ReadItem]:
    """Every seam of a file; a file that cannot be read at all gives one item with its problem."""
    try:
        if path.suffix.lower() == ".parquet":
            yield from read_parquet_seams(path, profile)
        else:
            yield ReadItem(0, read_csv_seam(read_bounded(path), path.name, profile))
    except InputRejected as problem:
        yield ReadItem(0, problem)

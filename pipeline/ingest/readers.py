"""One door to both formats: the seams of a file, whatever it is."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from seamtell.pipeline.ingest.csv_reader import read_csv_seam
from seamtell.pipeline.ingest.csv_text import read_bounded
from seamtell.pipeline.ingest.parquet_columns import ReadItem
from seamtell.pipeline.ingest.parquet_reader import read_parquet_seams
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = ["read_seams"]

_FIRST_LINE = 4096


def read_seams(path: Path, profile: Profile) -> Iterator[ReadItem]:
    """Every seam of a file; a file that cannot be read at all gives one item with its problem."""
    try:
        if path.suffix.lower() == ".parquet":
            yield from read_parquet_seams(path, profile)
        else:
            yield ReadItem(0, read_csv_seam(read_bounded(path), path.name, profile))
    except InputRejected as problem:
        yield ReadItem(0, _section_table(path) or problem)


def _section_table(path: Path) -> InputRejected | None:
    """Why a table of sections among the traces cannot be read: it lies in the same folder in many shops."""
    with suppress(OSError), path.open("rb") as stream:
        names = {name.strip(b'"\xef\xbb\xbf ') for name in stream.readline(_FIRST_LINE).strip().split(b",")}
        if {b"section_id", b"seam_id", b"flaw"} <= names:
            return InputRejected(
                ReasonCode.MISSING_COLUMN,
                "a table of destructive sections, not a trace",
                do="take it in with 'seamtell sections add', and leave it out of 'seamtell ingest'",
            )
    return None

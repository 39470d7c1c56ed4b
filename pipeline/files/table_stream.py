"""A Parquet file written batch by batch, that appears under its name only when complete."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from seamtell.pipeline.files.atomic import TEMPORARY_PREFIX, make_folder, storage_errors

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["TableStream", "stream_table"]


class TableStream:
    """Takes batches of rows; each becomes a row group, so the same batches give the same bytes.

    Parameters
    ----------
    path : Path
        The unfinished file.
    schema : pyarrow.Schema
        Names, order and types of the columns.
    """

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        import pyarrow.parquet as pq

        self._schema = schema
        self._path = path
        with storage_errors(path):
            self._writer = pq.ParquetWriter(path, schema, compression="zstd")

    def write(self, rows: pa.Table) -> None:
        """Append `rows` of the stated schema; an empty batch leaves no trace.

        Raises
        ------
        StorageProblem
            The disk is full or fails.
        """
        if len(rows):
            with storage_errors(self._path):
                self._writer.write_table(rows)

    def close(self) -> None:
        """Write the footer."""
        with storage_errors(self._path):
            self._writer.close()


@contextmanager
def stream_table(path: Path, schema: pa.Schema) -> Iterator[TableStream]:
    """Open a table for writing; on leaving it replaces what lay at `path`, on any error it leaves no trace.

    Raises
    ------
    StorageProblem
        The disk is full, read-only or fails; what lay at `path` before is untouched.
    """
    make_folder(path.parent)
    temporary = path.parent / f"{TEMPORARY_PREFIX}{uuid4().hex}"
    stream = None
    try:
        stream = TableStream(temporary, schema)
        yield stream
        stream.close()
        with storage_errors(path):
            _flush(temporary)
            temporary.replace(path)
    except BaseException:
        _give_up(stream, temporary)
        raise


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _give_up(stream: TableStream | None, temporary: Path) -> None:
    """Close and remove the unfinished file; the error already under way is the one that counts."""
    from contextlib import suppress

    from seamtell.pipeline.errors import StorageProblem

    with suppress(StorageProblem):
        if stream is not None:
            stream.close()
    with suppress(OSError):
        temporary.unlink(missing_ok=True)

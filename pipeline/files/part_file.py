"""A Parquet file written batch by batch, whose bytes do not depend on how the rows were cut into batches."""

from __future__ import annotations

from contextlib import suppress
from types import TracebackType
from typing import TYPE_CHECKING, BinaryIO, Self

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["ROW_GROUP_ROWS", "PartFile"]

ROW_GROUP_ROWS = 16_384
"""Rows of every row group but the last."""


class PartFile:
    """Takes rows in pieces of any size and writes row groups of `ROW_GROUP_ROWS` rows.

    Parameters
    ----------
    stream : binary file
        Open for writing; it stays open.
    schema : pyarrow.Schema
        Names, order and types of the columns.
    """

    def __init__(self, stream: BinaryIO, schema: pa.Schema) -> None:
        import pyarrow.parquet as pq

        self._schema = schema
        self._writer = pq.ParquetWriter(stream, schema, compression="zstd")
        self._waiting: list[pa.Table] = []
        self._rows = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self._writer.close()
            return
        with suppress(OSError):  # the error already under way is the one that counts
            self._writer.close()

    def write(self, rows: pa.Table) -> None:
        """Append `rows` of the stated schema."""
        if len(rows):
            self._waiting.append(rows)
            self._rows += len(rows)
            self._write_groups(least=ROW_GROUP_ROWS)

    def finish(self) -> None:
        """Write what waits, and the footer."""
        self._write_groups(least=1)
        self._writer.close()

    def _write_groups(self, least: int) -> None:
        """Write what waits in whole row groups, and a shorter one as long as `least` rows are left."""
        if self._rows < least or not self._waiting:
            return
        import pyarrow as pa

        # One chunk a column: pages end where chunks end.
        rows = pa.concat_tables(self._waiting).combine_chunks()
        written = 0
        while len(rows) - written >= least:
            group = rows.slice(written, ROW_GROUP_ROWS)
            self._writer.write_table(group, row_group_size=ROW_GROUP_ROWS)
            written += len(group)
        left = rows.slice(written)
        self._waiting, self._rows = ([left] if len(left) else []), len(left)

"""The files of one work unit: a Parquet part for each table of its job, and its record."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, BinaryIO

from seamtell.pipeline.files.part_file import PartFile

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["UNITS_FOLDER", "open_parts", "part_name", "part_of", "record_name"]

UNITS_FOLDER = ".units"
"""Holds the records of the units that are finished, until the whole is."""


def part_name(number: int) -> str:
    """File name of the part that a unit makes."""
    return f"part-{number:06d}.parquet"


def record_name(number: int) -> str:
    """File name of the record of a unit."""
    return f"{number:06d}.json"


@contextmanager
def open_parts(
    tables: Mapping[str, pa.Schema], streams: Sequence[BinaryIO]
) -> Iterator[tuple[PartFile, ...]]:
    """Open a part for each table; on leaving without an error they are complete.

    Parameters
    ----------
    tables : mapping of str to pyarrow.Schema
        As ``Job.tables``.
    streams : sequence of binary files
        One for each table, in their order; they stay open.
    """
    with ExitStack() as stack:
        parts = tuple(
            stack.enter_context(PartFile(stream, schema))
            for stream, schema in zip(streams, tables.values(), strict=True)
        )
        yield parts
        for part in parts:
            part.finish()


def part_of(schema: pa.Schema, tables: Iterable[pa.Table] = ()) -> bytes:
    """A part with the rows of some tables; without any it still has its columns."""
    stream = io.BytesIO()
    with PartFile(stream, schema) as part:
        for table in tables:
            part.write(table)
        part.finish()
    return stream.getvalue()

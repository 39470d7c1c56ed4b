"""Row groups of a store part as columns, without an object for each seam."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.files.arrow_arrays import flags, numbers_of, present
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.damage import PARQUET_DAMAGE
from seamtell.pipeline.store.manifest import Part
from seamtell.pipeline.store.rows import CHANNEL_PREFIX

__all__ = [
    "BATCH_SEAMS",
    "FACT_COLUMNS",
    "Chunk",
    "SeamRows",
    "UnreadSeams",
    "batched",
    "read_chunk",
    "row_groups_of",
    "stored_column",
    "trace_batch",
]

BATCH_SEAMS = 1024
"""Seams in one batch; larger row groups are cut, smaller ones of a part are put together."""

_GRID = ("start_mm", "pitch_mm", "thickness_a_mm", "thickness_b_mm")

FACT_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "welded_at",
    "recipe",
    "line",
    "coil",
    "shift",
    *_GRID,
    "content_sha256",
)
"""What is read of each seam besides its amplitudes."""


@dataclass(frozen=True, eq=False)
class SeamRows:
    """Seams of one batch.

    Parameters
    ----------
    facts : pyarrow.Table of n rows
        `FACT_COLUMNS`.
    batch : TraceBatch of n seams
    """

    facts: pa.Table
    batch: TraceBatch

    def __len__(self) -> int:
        return len(self.batch)

    def content(self) -> bytes:
        """Content digest and id of each seam, a line each."""
        columns = self.facts.select(["content_sha256", "seam_id"]).to_pydict()
        pairs = zip(columns["content_sha256"], columns["seam_id"], strict=True)
        return "".join(f"{digest} {seam_id!r}\n" for digest, seam_id in pairs).encode("utf-8")

    def chosen(self, mask: NDArray[np.bool_]) -> SeamRows:
        """Only the seams of the mask; amplitudes are not copied."""
        if mask.all():
            return self
        names = ("starts", "counts", *_GRID, "recipe")
        columns: dict[str, Any] = {
            name: np.ascontiguousarray(getattr(self.batch, name)[mask]) for name in names
        }
        return SeamRows(self.facts.filter(flags(mask)), replace(self.batch, **columns))


@dataclass(frozen=True)
class UnreadSeams:
    """Seams that cannot be read.

    Parameters
    ----------
    path : str
        The part file.
    seams : int
        How many.
    seam_ids : tuple of str
        Empty when not even the names can be read.
    problem : str
    first_row : int
        Of the damaged rows in the part, counted from 0.
    """

    path: str
    seams: int
    seam_ids: tuple[str, ...]
    problem: str
    first_row: int = 0


@dataclass(frozen=True)
class Chunk:
    """Consecutive row groups of one part, which are read at once.

    Parameters
    ----------
    path : Path or Place
    groups, sizes : tuple of int
        Row groups, and rows of each.
    first_row : int
    """

    path: Path | Place
    groups: tuple[int, ...]
    sizes: tuple[int, ...]
    first_row: int


def row_groups_of(folder: Path | Place, parts: Iterable[Part]) -> Iterator[Chunk | UnreadSeams]:
    """Each row group of parts of the store as a chunk of its own, in their order.

    A part whose footer is damaged is unread as a whole.

    Raises
    ------
    StorageProblem
        A part is not there.
    """
    for part in parts:
        path = folder / part.path
        try:
            with _opened(path) as file:
                sizes = [file.metadata.row_group(i).num_rows for i in range(file.num_row_groups)]
        except PARQUET_DAMAGE as problem:
            yield UnreadSeams(str(path), part.seams, (), _line(problem))
            continue
        first_row = 0
        for group, size in enumerate(sizes):
            yield Chunk(path, (group,), (size,), first_row)
            first_row += size


def batched(
    chunks: Iterable[Chunk | UnreadSeams], batch_seams: int = BATCH_SEAMS
) -> Iterator[Chunk | UnreadSeams]:
    """Put neighbours in one part together until the next would make more than `batch_seams` seams."""
    gathered: Chunk | None = None
    for chunk in chunks:
        if isinstance(chunk, Chunk) and gathered is not None and chunk.path == gathered.path:
            sizes = gathered.sizes + chunk.sizes
            if sum(sizes) <= batch_seams:
                gathered = replace(gathered, groups=gathered.groups + chunk.groups, sizes=sizes)
                continue
        if gathered is not None:
            yield gathered
            gathered = None
        if isinstance(chunk, Chunk):
            gathered = chunk
        else:
            yield chunk
    if gathered is not None:
        yield gathered


def read_chunk(chunk: Chunk) -> tuple[list[SeamRows], list[UnreadSeams]]:
    """Read a chunk; when that fails, group by group, so that a damaged one costs no other.

    Raises
    ------
    StorageProblem
        The part is not there.
    """
    try:
        with _opened(chunk.path) as file:
            return _cut(_rows(file, chunk.groups)), []
    except PARQUET_DAMAGE as problem:
        if len(chunk.groups) == 1:
            ids = _ids_of_group(chunk)
            return [], [UnreadSeams(str(chunk.path), chunk.sizes[0], ids, _line(problem), chunk.first_row)]
    rows: list[SeamRows] = []
    unread: list[UnreadSeams] = []
    first = chunk.first_row
    for group, size in zip(chunk.groups, chunk.sizes, strict=True):
        good, bad = read_chunk(Chunk(chunk.path, (group,), (size,), first))
        rows += good
        unread += bad
        first += size
    return rows, unread


def stored_column(folder: Path | Place, parts: Sequence[Part], name: str) -> Iterator[list[Any]]:
    """One column of every seam, part by part; of a damaged part nothing.

    Raises
    ------
    StorageProblem
        A part is not there.
    """
    for part in parts:
        try:
            with _opened(folder / part.path) as file:
                yield file.read(columns=[name], use_threads=False)[name].to_pylist()
        except PARQUET_DAMAGE:
            yield []


def trace_batch(table: pa.Table) -> TraceBatch:
    """Amplitudes and grids of a table of the store, as views of its buffers.

    Parameters
    ----------
    table : pyarrow.Table
        One chunk a column.
    """
    stored = [n.removeprefix(CHANNEL_PREFIX) for n in table.column_names if n.startswith(CHANNEL_PREFIX)]
    channels = (*CHANNELS, *sorted(set(stored) - set(CHANNELS)))
    shape = (table.num_rows, len(channels))
    starts, counts = np.full(shape, -1, np.int64), np.zeros(shape, np.int64)
    values = [np.zeros(0, np.float32)] * len(channels)
    for c, name in enumerate(channels):
        if name in stored and table.num_rows:
            values[c] = _amplitudes(table.column(CHANNEL_PREFIX + name).chunk(0), starts[:, c], counts[:, c])
    recipe = _one_array(table, "recipe").dictionary_encode()
    return TraceBatch(
        channels=channels,
        values=tuple(values),
        starts=starts,
        counts=counts,
        **{name: _numbers(table, name) for name in _GRID},
        recipes=tuple(recipe.dictionary.to_pylist()),
        recipe=numbers_of(recipe.indices).astype(np.int32),
    )


def _amplitudes(
    lists: pa.ListArray, starts: NDArray[np.int64], counts: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Values of a list column; fills in where each seam lies."""
    offsets, there = numbers_of(lists.offsets).astype(np.int64), present(lists)
    starts[there] = offsets[:-1][there]
    counts[there] = np.diff(offsets)[there]
    values: NDArray[np.float32] = numbers_of(lists.values)
    return values


def _numbers(table: pa.Table, name: str) -> NDArray[np.float64]:
    """A column of numbers; what is unknown is NaN."""
    column = _one_array(table, name)
    return np.where(present(column), numbers_of(column), np.nan)


def _one_array(table: pa.Table, name: str) -> pa.Array:
    column = table.column(name)
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _rows(file: pq.ParquetFile, groups: Sequence[int]) -> SeamRows:
    amplitudes = [name for name in file.schema_arrow.names if name.startswith(CHANNEL_PREFIX)]
    table = file.read_row_groups(list(groups), columns=[*FACT_COLUMNS, *amplitudes], use_threads=False)
    table = table.combine_chunks()
    return SeamRows(table.select(list(FACT_COLUMNS)), trace_batch(table))


def _cut(rows: SeamRows) -> list[SeamRows]:
    """Slices of one batch, where a row group holds more than two."""
    n = len(rows)
    if n <= 2 * BATCH_SEAMS:
        return [rows]
    batch = np.arange(n) // BATCH_SEAMS
    return [rows.chosen(batch == i) for i in range(int(batch[-1]) + 1)]


def _ids_of_group(chunk: Chunk) -> tuple[str, ...]:
    """Names of the seams of a damaged group, when that column can still be read."""
    try:
        with _opened(chunk.path) as file:
            return tuple(file.read_row_groups(list(chunk.groups), columns=["seam_id"])["seam_id"].to_pylist())
    except PARQUET_DAMAGE:
        return ()


def _opened(path: Path | Place) -> pq.ParquetFile:
    try:
        if isinstance(path, Place):  # few requests of many bytes
            return pq.ParquetFile(path.open(), pre_buffer=True)
        return pq.ParquetFile(path, pre_buffer=False)
    except FileNotFoundError:
        raise StorageProblem(
            "a part of the seam store is missing",
            where=str(path),
            do="run again if another command was changing the store, else restore it from a backup",
        ) from None


def _line(problem: BaseException) -> str:
    return (str(problem) or type(problem).__name__).splitlines()[0]

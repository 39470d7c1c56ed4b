"""The stage *describe*: one row per indication, with the seam's metadata and every descriptor."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from seamtell.features.contracts import SeamTrace
from seamtell.features.described_batch import DescribedBatch, SeamStatus
from seamtell.features.indications import IndicationSettings
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.table_stream import stream_table
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import DescribeSettings, read_settings
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import Chunk, SeamRows, UnreadSeams, chunks_of, read_chunk
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.streaming.indication_rows import SEAM_COLUMNS, indication_rows, indications_schema
from seamtell.pipeline.streaming.ordered import ordered_map, usable_cores
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = [
    "BATCH_SEAMS",
    "SEAM_COLUMNS",
    "DescribeResult",
    "batches",
    "describe",
    "describe_seams",
    "indication_settings",
    "indications_schema",
]

T = TypeVar("T")

BATCH_SEAMS = 256
"""Seams in memory at once where seams are taken one by one."""


@dataclass(frozen=True)
class DescribeResult:
    """What was described.

    Parameters
    ----------
    path : Path
        The Parquet file.
    seams, indications : int
        Seams read and indications written.
    conflicts : int
        Seams with two differing traces; described by the one that came first, and flagged.
    without_limits : mapping of str to int
        Seams left out because the limit file does not name their recipe, by recipe.
    not_described : int
        Seams left out because a channel is missing or a sample is not finite.
    unread : tuple of UnreadSeams
        Seams in damaged parts of the store; all others are described.
    """

    path: Path
    seams: int
    indications: int
    conflicts: int
    without_limits: dict[str, int]
    not_described: int = 0
    unread: tuple[UnreadSeams, ...] = ()


def describe_seams(ws: Workspace, seam_ids: Collection[str] | None = None) -> pd.DataFrame:
    """Describe seams in memory.

    Parameters
    ----------
    seam_ids : collection of str, optional
        Default: all.

    Returns
    -------
    pandas.DataFrame
        One row per indication, by (welded_at, seam_id, position): ``INDICATION_COLUMNS``,
        ``SEAM_COLUMNS``, every descriptor. Seams whose recipe has no limits have no rows.

    Raises
    ------
    BadInput
        A seam that the store does not hold, or a limit file that cannot be read.
    """
    import pandas as pd

    job = _Job.of(ws)
    traces = SeamStore(ws.traces_dir).iter_traces(seam_ids)
    tables = [job.frame(batch) for batch in batches(traces, BATCH_SEAMS)]
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else job.frame([])


def describe(ws: Workspace, out: Path | None = None, *, threads: int | None = None) -> DescribeResult:
    """Describe the whole store into one Parquet file, batch by batch, in the order of the store.

    Parameters
    ----------
    out : Path, optional
        Default: ``described/indications.parquet`` in the workspace.
    threads : int, optional
        The result does not depend on it; default: as many as there are cores.

    Raises
    ------
    BadInput
        The store is empty, the limit file cannot be read, or `out` is no name of a Parquet file.
    StorageProblem
        The file cannot be written; an older one is then untouched.
    """
    manifest = read_manifest(ws.traces_dir)
    if not manifest.n_seams:
        raise BadInput("the store holds no seams", where=str(ws.root), do="run 'seamtell ingest PATH' first")
    path = out or ws.described_dir / "indications.parquet"
    if path.is_dir():
        raise BadInput(
            "is a folder, expected a file to write", where=str(path), do="say --out DIR/FILE.parquet"
        )
    if path.suffix.lower() != ".parquet":
        raise BadInput(
            f"got '{path.suffix}', expected .parquet", where=str(path), do="end the file name with .parquet"
        )
    job = _Job.of(ws)
    seen = _Seen()
    with stream_table(path, indications_schema()) as stream:
        chunks = chunks_of(ws.traces_dir, manifest)
        for every in ordered_map(partial(_described, job), chunks, threads or usable_cores()):
            for done in every:
                seen.add(done)
                if done.table is not None:
                    stream.write(done.table)
    return DescribeResult(
        path=path,
        seams=seen.seams,
        indications=seen.indications,
        conflicts=seen.conflicts,
        without_limits=dict(sorted(seen.without_limits.items())),
        not_described=seen.not_described,
        unread=tuple(seen.unread),
    )


def indication_settings(settings: DescribeSettings) -> IndicationSettings:
    """The thresholds of the workspace in the words of the features."""
    return IndicationSettings(enter_sigma=settings.enter_sigma, leave_sigma=settings.leave_sigma)


def batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    """Cut a stream into lists of `size`; the last may be shorter."""
    batch: list[T] = []
    for item in items:
        batch.append(item)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


@dataclass(frozen=True)
class _Done:
    """What one batch gave, or what could not be read."""

    table: pa.Table | None = None
    seams: int = 0
    conflicts: int = 0
    without_limits: tuple[str, ...] = ()
    not_described: int = 0
    unread: tuple[UnreadSeams, ...] = ()


class _Seen:
    """Sums over the chunks, so that nothing but them stays in memory."""

    def __init__(self) -> None:
        self.seams = self.indications = self.conflicts = self.not_described = 0
        self.without_limits: Counter[str] = Counter()
        self.unread: list[UnreadSeams] = []

    def add(self, done: _Done) -> None:
        self.seams += done.seams
        self.indications += 0 if done.table is None else len(done.table)
        self.conflicts += done.conflicts
        self.not_described += done.not_described
        self.without_limits.update(done.without_limits)
        self.unread += done.unread


@dataclass(frozen=True)
class _Job:
    """All that describing needs besides the traces."""

    limits: Limits
    settings: IndicationSettings
    conflicts: frozenset[str]

    @classmethod
    def of(cls, ws: Workspace) -> _Job:
        settings = read_settings(ws.settings_path)
        return cls(
            limits=read_limits(ws.limits_path),
            settings=indication_settings(settings.describe),
            conflicts=SeamStore(ws.traces_dir).conflicts(),
        )

    def _found(self, rows: SeamRows) -> tuple[DescribedBatch, pa.Table]:
        found = describe_batch(rows.batch, self.limits.by_recipe, self.settings)
        return found, indication_rows(rows.facts, rows.batch.channels, found, self.conflicts)

    def describe(self, rows: SeamRows) -> _Done:
        """Describe one batch."""
        import pyarrow as pa
        import pyarrow.compute as pc

        found, table = self._found(rows)
        listed = pc.is_in(rows.facts.column("seam_id"), pa.array(sorted(self.conflicts), pa.string()))
        without = rows.batch.recipe[found.status == SeamStatus.NO_LIMITS]
        return _Done(
            table=table,
            seams=len(rows),
            conflicts=int(np.count_nonzero(listed.to_numpy())),
            without_limits=tuple(rows.batch.recipes[i] for i in without.tolist()),
            not_described=int(np.count_nonzero(found.status > SeamStatus.NO_LIMITS)),
        )

    def frame(self, traces: list[SeamTrace]) -> pd.DataFrame:
        """Describe seams that are in memory one by one."""
        import pandas as pd
        import pyarrow as pa

        schema = indications_schema()
        named = ("seam_id", *(name for name in SEAM_COLUMNS if name != "conflict"))
        facts = pa.table(
            {
                name: pa.array([getattr(trace, name) for trace in traces], schema.field(name).type)
                for name in named
            }
        )
        _, table = self._found(SeamRows(facts, TraceBatch.of_traces(traces)))
        columns = {}
        for one in schema:
            values = table.column(one.name)
            if one.name == "welded_at":
                columns[one.name] = pd.to_datetime(pd.Series(values.to_pylist(), dtype=object), utc=True)
            elif one.type == pa.string():
                columns[one.name] = pd.Series(values.to_pylist(), dtype=object)
            else:
                columns[one.name] = pd.Series(values.to_numpy())
        return pd.DataFrame(columns)


def _described(job: _Job, chunk: Chunk | UnreadSeams) -> list[_Done]:
    """Read one chunk and describe the seams in it."""
    if isinstance(chunk, UnreadSeams):
        return [_Done(unread=(chunk,))]
    parts, unread = read_chunk(chunk)
    return [*(job.describe(rows) for rows in parts), _Done(unread=tuple(unread))]

"""The stage *describe*: one row per indication, with the seam's metadata and every descriptor."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from seamtell.features.descriptors.registry import schema_digest
from seamtell.pipeline.described.files import (
    DESCRIBED_FILE,
    DESCRIBED_RECORD_FILE,
    DescribedRecord,
    check_target,
)
from seamtell.pipeline.described.job import DescribeJob, DescribeSums
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import BATCH_SEAMS, UnreadSeams, row_groups_of
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.streaming.job import job_key
from seamtell.pipeline.streaming.ordered import usable_cores
from seamtell.pipeline.streaming.target import open_target
from seamtell.pipeline.streaming.unit_run import RunUnits, Whole, run_units, unheard, whole
from seamtell.pipeline.streaming.units import UNIT_SEAMS, units_of
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["TRACES_AT_ONCE", "DescribeResult", "batches", "describe", "describe_seams"]

T = TypeVar("T")

TRACES_AT_ONCE = 256
"""Seams in memory at once where seams are taken one by one."""


@dataclass(frozen=True)
class DescribeResult:
    """What was described.

    Parameters
    ----------
    path : Path or Place
        The table: a folder of Parquet parts.
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

    path: Path | Place
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

    job = DescribeJob.of(ws)
    traces = SeamStore(ws.traces_dir).iter_traces(seam_ids)
    tables = [job.frame(batch) for batch in batches(traces, TRACES_AT_ONCE)]
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else job.frame([])


def describe(
    ws: Workspace,
    out: Path | Place | None = None,
    *,
    store: Path | Place | None = None,
    run: RunUnits | None = None,
    threads: int | None = None,
    unit_seams: int = UNIT_SEAMS,
    batch_seams: int = BATCH_SEAMS,
    on_seams: Callable[[int], object] = unheard,
) -> DescribeResult:
    """Describe the whole store, unit by unit, in the order of the store.

    A run that was killed is gone on with by the next one with the same inputs.

    Parameters
    ----------
    out : Path or Place, optional
        A new or empty folder, or one that an earlier run made, which is replaced; default: ``described``
        in the workspace. A place elsewhere must be empty.
    store : Path or Place, optional
        Folder of another store than that of the workspace.
    run : RunUnits, optional
        Does the units; default: threads of this process. The result does not depend on it.
    threads : int, optional
        The result does not depend on it; default: as many as there are cores.
    unit_seams : int
        Seams in one part of the result, about.
    batch_seams : int
        Worked on at once, about; the result does not depend on it.
    on_seams : callable
        Told how many seams more are done.

    Raises
    ------
    BadInput
        The store is empty, the limit file cannot be read, or `out` holds something else.
    StorageProblem
        The result cannot be written; an older one is then untouched.
    WorkspaceBusy
        Another process describes the same store at this moment.
    """
    traces = ws.traces_dir if store is None else store
    manifest = read_manifest(traces)
    if not manifest.n_seams:
        raise BadInput("the store holds no seams", where=str(traces), do="run 'seamtell ingest PATH' first")
    folder = ws.described_dir if out is None else out
    if isinstance(folder, Path):
        check_target(folder)
    job = DescribeJob.of(ws, store)
    run = run or partial(run_units, threads=threads or usable_cores(), batch_seams=batch_seams)
    key = job_key("describe", manifest, unit_seams, job.inputs)
    with open_target(folder, "describe", key, job) as target:
        units = units_of(row_groups_of(traces, manifest.parts), unit_seams)
        done = whole(job, run(job, units, target, on_seams=on_seams))
        record = _record(job, done)
        target.write_record(DESCRIBED_RECORD_FILE, record.to_json())
        target.publish(folder, replace=True)
    return DescribeResult(
        path=folder / DESCRIBED_FILE,
        seams=done.sums.seams,
        indications=done.sums.indications,
        conflicts=done.sums.conflicts,
        without_limits=dict(done.sums.without_limits),
        not_described=done.sums.not_described,
        unread=done.unread,
    )


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


def _record(job: DescribeJob, done: Whole[DescribeSums]) -> DescribedRecord:
    return DescribedRecord(
        software_version=software_version(),
        descriptors_digest=schema_digest(),
        limits_digest=job.limits.digest,
        input_digest=done.content_sha256,
        seams=done.sums.seams,
        indications=done.sums.indications,
        not_described=done.sums.not_described,
        unread_seams=sum(one.seams for one in done.unread),
    )

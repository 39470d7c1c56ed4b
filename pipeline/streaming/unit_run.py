"""Running a job over the units of a store: read and work in threads, write in order."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from typing import Any, Generic, Protocol

from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.store.row_groups import BATCH_SEAMS, Chunk, UnreadSeams, batched, read_chunk
from seamtell.pipeline.streaming.job import BatchResult, Job, S, UnitRecord, record_type
from seamtell.pipeline.streaming.ordered import ordered_map
from seamtell.pipeline.streaming.target import Target
from seamtell.pipeline.streaming.units import WorkUnit

__all__ = ["RunUnits", "Whole", "do_unit", "run_units", "unheard", "whole"]


class RunUnits(Protocol):
    """Whatever does the units of a store: threads of this process, or the workers of a cluster."""

    def __call__(
        self, job: Job[Any], units: Iterable[WorkUnit], target: Target, *, on_seams: Callable[[int], object]
    ) -> Iterator[UnitRecord[Any]]:
        """Do the units that no earlier run finished; the record of each unit, not in their order."""


@dataclass(frozen=True)
class Whole(Generic[S]):
    """Sums over all units.

    Parameters
    ----------
    sums : Sums
    content_sha256 : str
        Over the digests of the units.
    unread : tuple of UnreadSeams
    """

    sums: S
    content_sha256: str
    unread: tuple[UnreadSeams, ...]


def run_units(
    job: Job[S],
    units: Iterable[WorkUnit],
    target: Target,
    *,
    threads: int,
    on_seams: Callable[[int], object],
    batch_seams: int = BATCH_SEAMS,
) -> Iterator[UnitRecord[S]]:
    """Do the units that no earlier run finished; the record of each unit, not in their order.

    Parameters
    ----------
    threads : int
        That read and work; the caller's own thread writes. The result does not depend on it.
    on_seams : callable
        Told how many seams more are done.
    batch_seams : int
        Worked on at once, about. The result does not depend on it.

    Raises
    ------
    StorageProblem
        The parts cannot be written, or a part of the store is not there.
    """
    kept: list[UnitRecord[S]] = []

    def steps() -> Iterator[tuple[WorkUnit, Chunk | UnreadSeams]]:
        for unit in units:
            record = target.finished(unit.number)
            if record is None:
                yield from ((unit, chunk) for chunk in batched(unit.chunks, batch_seams))
            else:
                kept.append(record)
                on_seams(unit.seams)

    done = ordered_map(partial(_worked, job), steps(), threads)
    for number, results in groupby(done, key=lambda result: result.number):
        yield _written(job, number, results, target, on_seams)
    yield from kept


def do_unit(job: Job[S], unit: WorkUnit, parts: Sequence[PartFile]) -> UnitRecord[S]:
    """Do one unit in one thread and write its rows to `parts`, one for each table of the job.

    Raises
    ------
    StorageProblem
        A part of the store is not there.
    """
    steps = ((unit, chunk) for chunk in batched(unit.chunks))
    return _filled(job, unit.number, map(partial(_worked, job), steps), parts, unheard)


def unheard(seams: int) -> None:
    """Take the news of how many seams more are done, and tell nobody."""


def whole(job: Job[S], records: Iterable[UnitRecord[S]]) -> Whole[S]:
    """Add up the records of all units in the order of the store."""
    sums, content = job.sums(), hashlib.sha256()
    unread: list[UnreadSeams] = []
    for record in sorted(records, key=lambda record: record.number):
        sums = sums.plus(record.sums)
        content.update(record.content_sha256.encode("ascii"))
        unread += record.unread
    return Whole(sums, content.hexdigest(), tuple(unread))


@dataclass(frozen=True, eq=False)
class _ChunkResult(Generic[S]):
    number: int
    seams: int
    batches: tuple[BatchResult[S], ...]
    unread: tuple[UnreadSeams, ...]


def _worked(job: Job[S], step: tuple[WorkUnit, Chunk | UnreadSeams]) -> _ChunkResult[S]:
    unit, chunk = step
    if isinstance(chunk, UnreadSeams):
        return _ChunkResult(unit.number, chunk.seams, (), (chunk,))
    parts, unread = read_chunk(chunk)
    batches = tuple(job.work(rows) for rows in parts)
    return _ChunkResult(unit.number, sum(chunk.sizes), batches, tuple(unread))


def _written(
    job: Job[S],
    number: int,
    results: Iterable[_ChunkResult[S]],
    target: Target,
    on_seams: Callable[[int], object],
) -> UnitRecord[S]:
    """Write the parts of a unit as its results come, then its record."""
    with target.unit(number) as parts:
        record = _filled(job, number, results, parts, on_seams)
    target.finish(record)
    return record


def _filled(
    job: Job[S],
    number: int,
    results: Iterable[_ChunkResult[S]],
    parts: Sequence[PartFile],
    on_seams: Callable[[int], object],
) -> UnitRecord[S]:
    sums, content = job.sums(), hashlib.sha256()
    unread: list[UnreadSeams] = []
    for result in results:
        for batch in result.batches:
            sums = sums.plus(batch.sums)
            content.update(batch.content)
            if batch.tables:
                for part, table in zip(parts, batch.tables, strict=True):
                    part.write(table)
        unread += result.unread
        on_seams(result.seams)
    return record_type(job)(
        number=number, content_sha256=content.hexdigest(), sums=sums, unread=tuple(unread)
    )

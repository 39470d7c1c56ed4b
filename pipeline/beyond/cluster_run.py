"""Running a job over the units of a store on the workers of a cluster.

One task a unit. The workers read the store and send back the bytes of the parts; only
this process writes. A worker that dies costs the time of its tasks: the scheduler gives
them to another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.beyond.environment import environment
from seamtell.pipeline.beyond.unit_task import DoneUnit, given_job, unit_task
from seamtell.pipeline.errors import ClusterProblem
from seamtell.pipeline.store.row_groups import Chunk
from seamtell.pipeline.streaming.job import Job, S, UnitRecord, record_type
from seamtell.pipeline.streaming.target import Target
from seamtell.pipeline.streaming.units import WorkUnit

if TYPE_CHECKING:
    from distributed import Client, Future

__all__ = ["OnCluster"]

_UNITS_A_THREAD = 2
"""Under way at once: one is worked on, one waits, so that no thread does."""


@dataclass(frozen=True, eq=False)
class OnCluster:
    """Does the units of a store on a cluster, to the bytes that one process would write.

    Parameters
    ----------
    client : distributed.Client
    """

    client: Client

    def __call__(
        self, job: Job[S], units: Iterable[WorkUnit], target: Target, *, on_seams: Callable[[int], object]
    ) -> Iterator[UnitRecord[S]]:
        """Do the units that no earlier run finished; the record of each unit, as they come.

        Raises
        ------
        ClusterProblem
            Workers died over one unit again and again, or the scheduler is lost.
        Refused
            A worker differs from this process.
        StorageProblem
            A part of the store is not there, or the result cannot be written.
        """
        of_job = record_type(job)
        for unit, done in self._done(job, units, target):
            if isinstance(done, DoneUnit):
                target.put(unit.number, done.parts)
                record = of_job.model_validate_json(done.record)
                target.finish(record)
            else:
                record = done
            on_seams(unit.seams)
            yield record

    def _done(
        self, job: Job[S], units: Iterable[WorkUnit], target: Target
    ) -> Iterator[tuple[WorkUnit, DoneUnit | UnitRecord[S]]]:
        """Each unit with what came of it; few are under way at once."""
        from distributed import as_completed

        run = uuid4().hex[:8]
        under_way: dict[str, tuple[WorkUnit, Future[DoneUnit]]] = {}
        with _cluster_errors():
            given = self._given(job, run)
            completed = as_completed([], loop=self.client.loop)  # type: ignore[no-untyped-call]
        try:
            for unit in units:
                record = target.finished(unit.number)
                if record is not None:
                    yield unit, record
                    continue
                with _cluster_errors(unit):
                    future = self.client.submit(
                        unit_task, given, _absolute(unit), key=f"unit-{unit.number:06d}-{run}", pure=False
                    )
                    under_way[str(future.key)] = (unit, future)
                    completed.add(future)  # type: ignore[no-untyped-call]
                if len(under_way) >= _UNITS_A_THREAD * self._threads():
                    yield self._next(completed, under_way)
            while under_way:
                yield self._next(completed, under_way)
        finally:
            self._cancel([future for _, future in under_way.values()])

    def _given(self, job: Job[S], run: str) -> Future[Job[S]]:
        """The job as a task of its own, so that it is sent once and made again when its worker dies."""
        import dask

        # A model is some megabytes, which is no reason to warn about.
        with dask.config.set({"distributed.admin.large-graph-warning-threshold": "1 GiB"}):
            return self.client.submit(given_job, job, job.inputs, environment(), key=f"job-{run}", pure=False)

    def _next(
        self, completed: Iterator[Future[DoneUnit]], under_way: dict[str, tuple[WorkUnit, Future[DoneUnit]]]
    ) -> tuple[WorkUnit, DoneUnit]:
        with _cluster_errors():
            future = next(completed)
        unit, _ = under_way.pop(str(future.key))
        with _cluster_errors(unit):
            done: DoneUnit = future.result()
            future.release()  # type: ignore[no-untyped-call]
        return unit, done

    def _threads(self) -> int:
        """Of all workers that are there now; at least one, while they come back."""
        return max(1, sum(self.client.nthreads().values()))  # type: ignore[no-untyped-call]

    def _cancel(self, futures: list[Future[DoneUnit]]) -> None:
        if futures and self.client.status == "running":
            self.client.cancel(futures, force=True)  # type: ignore[no-untyped-call]


@contextmanager
def _cluster_errors(unit: WorkUnit | None = None) -> Iterator[None]:
    """Turn what Dask raises into a `ClusterProblem`; what seamtell raised on a worker stays."""
    from distributed import KilledWorker
    from distributed.client import FutureCancelledError
    from distributed.comm.core import CommClosedError

    which = "the job" if unit is None else _named(unit)
    try:
        yield
    except SeamtellError:
        raise
    except KilledWorker as problem:
        raise ClusterProblem(
            f"{problem.allowed_failures + 1} workers died over it, the last one {_address(problem)}",
            where=which,
            do="most often their memory was too small: give each worker more ('dask worker --memory-limit') "
            "or fewer threads ('--nthreads 1'), then run the same command again: it goes on with what is "
            "finished. Else see the log of the worker",
        ) from None
    except MemoryError:
        raise ClusterProblem(
            "a worker is out of memory",
            where=which,
            do="give each worker more memory or fewer threads, then run the same command again: it goes on "
            "with what is finished",
        ) from None
    except (FutureCancelledError, CommClosedError, TimeoutError) as problem:
        raise ClusterProblem(
            f"the scheduler is lost: {(str(problem) or type(problem).__name__).splitlines()[0].rstrip('.')}",
            where=which,
            do="see its log, then run the same command again: it goes on with what is finished",
        ) from None


def _absolute(unit: WorkUnit) -> WorkUnit:
    """A worker has a working directory of its own."""
    return replace(
        unit,
        chunks=tuple(
            replace(chunk, path=chunk.path.absolute())
            if isinstance(chunk, Chunk) and isinstance(chunk.path, Path)
            else chunk
            for chunk in unit.chunks
        ),
    )


def _named(unit: WorkUnit) -> str:
    paths = [str(chunk.path) for chunk in unit.chunks]
    first = paths[0] if paths else "the store"
    return f"unit {unit.number} ({unit.seams} seams, from {first})"


def _address(problem: Any) -> str:
    return str(getattr(problem.last_worker, "address", problem.last_worker))

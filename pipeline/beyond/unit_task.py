"""What a worker of a cluster does: one work unit, in memory, from the store to the bytes of its parts."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from seamtell.pipeline.beyond.environment import Environment, differences, environment
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import Manifest, read_manifest
from seamtell.pipeline.streaming.job import Job
from seamtell.pipeline.streaming.unit_files import open_parts
from seamtell.pipeline.streaming.unit_run import do_unit
from seamtell.pipeline.streaming.units import WorkUnit

__all__ = ["DoneUnit", "given_job", "seen_manifest", "unit_task"]


@dataclass(frozen=True, eq=False)
class DoneUnit:
    """What a worker sends back.

    Parameters
    ----------
    record : str
        The unit's record as JSON.
    parts : tuple of bytes
        A Parquet file for each table of the job.
    """

    record: str
    parts: tuple[bytes, ...]


def given_job(job: Job[Any], inputs: dict[str, Any], expected: Environment) -> Job[Any]:
    """Check on a worker that the job arrived as it was sent, to where the same bytes come out of it.

    Parameters
    ----------
    inputs : dict
        Digests of limits, settings, model and conflicts as the sender knows them.
    expected : Environment
        Of the sender.

    Raises
    ------
    Refused
    """
    different = differences(environment(), expected)
    if different:
        raise Refused(
            f"a worker differs from this command: {'; '.join(different)}",
            do="install the same versions on every worker: other versions can give other figures",
        )
    arrived = job.inputs
    if arrived != inputs:
        changed = ", ".join(sorted(name for name in inputs if arrived.get(name) != inputs[name]))
        raise Refused(
            f"limits, settings or model arrived at a worker other than they were sent: {changed}",
            do="run the same command again; when it stays so, restart the workers",
        )
    return job


def unit_task(job: Job[Any], unit: WorkUnit) -> DoneUnit:
    """Do one unit.

    Raises
    ------
    StorageProblem
        A part of the store is not there.
    """
    streams = [io.BytesIO() for _ in job.tables]
    with open_parts(job.tables, streams) as parts:
        record = do_unit(job, unit, parts)
    return DoneUnit(record.model_dump_json(), tuple(stream.getvalue() for stream in streams))


def seen_manifest(store: Path | Place) -> Manifest:
    """The manifest as a worker sees it."""
    return read_manifest(store)

"""An unfinished result in an object store, where no folder can be renamed.

The parts go to where they will stay. The record of the whole is written last, and its
presence says that the result is complete, as on a disk::

    OUT/.units/<key>/begun              only a run of this key may go on here
    OUT/.units/<key>/000000.json        the unit is finished
    OUT/indications.parquet/part-000000.parquet
    OUT/described.json                  written last

Two runs of one key at once write the same bytes, so they need no lock.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from pydantic import ValidationError

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.streaming.job import Job, UnitRecord, record_type
from seamtell.pipeline.streaming.unit_files import (
    UNITS_FOLDER,
    open_parts,
    part_name,
    part_of,
    record_name,
)

__all__ = ["UnfinishedPlace", "open_unfinished_place"]

_BEGUN = "begun"


class UnfinishedPlace:
    """An unfinished result at a place.

    Parameters
    ----------
    place : Place
        Where the result will stay.
    key : str
        Of all that it depends on.
    job : Job
    """

    def __init__(self, place: Place, key: str, job: Job[Any]) -> None:
        self.place = place
        self._tables = job.tables
        self._record_type = record_type(job)
        self._units = place / UNITS_FOLDER / key
        self._records: dict[str, bytes] = {}

    def finished(self, number: int) -> UnitRecord[Any] | None:
        """The record of a unit that an earlier run finished; None when it must be done."""
        try:
            return self._record_type.model_validate_json((self._units / record_name(number)).read_bytes())
        except (FileNotFoundError, ValidationError):
            return None

    @contextmanager
    def unit(self, number: int) -> Iterator[tuple[PartFile, ...]]:
        """Collect the parts of a unit in memory; on leaving they are put.

        Raises
        ------
        StorageProblem
        """
        streams = [io.BytesIO() for _ in self._tables]
        with open_parts(self._tables, streams) as parts:
            yield parts
        self.put(number, [stream.getvalue() for stream in streams])

    def put(self, number: int, parts: Sequence[bytes]) -> None:
        """Put the parts of a unit, in the order of the job's tables.

        Raises
        ------
        StorageProblem
        """
        for name, data in zip(self._tables, parts, strict=True):
            (self.place / name / part_name(number)).write_bytes(data)

    def finish(self, record: UnitRecord[Any]) -> None:
        """Say that the parts of a unit are all there."""
        (self._units / record_name(record.number)).write_bytes(record.to_json())

    def write_record(self, name: str, data: bytes) -> None:
        """Keep what the whole result says of itself until everything else is there."""
        self._records[name] = data

    def publish(self, folder: Place, *, replace: bool = False) -> None:  # noqa: ARG002
        """Write the record of the whole; `folder` is the place, and nothing is ever replaced."""
        for name, schema in self._tables.items():
            if not (self.place / name).names():
                (self.place / name / part_name(0)).write_bytes(part_of(schema))
        for name, data in self._records.items():
            (folder / name).write_bytes(data)
        (folder / UNITS_FOLDER).remove()

    def discard(self) -> None:
        """Remove what this run and earlier ones of its key put."""
        for name in (*self._tables, UNITS_FOLDER):
            (self.place / name).remove()


def open_unfinished_place(place: Place, stage: str, key: str, job: Job[Any]) -> UnfinishedPlace:
    """Begin a result at an empty place, or go on with what a run of the same key left there.

    Raises
    ------
    BadInput
        The place holds something else; nothing elsewhere is ever overwritten.
    StorageProblem
        It cannot be listed.
    """
    held = set(place.names())
    only_parts = held <= {*job.tables, UNITS_FOLDER}
    if held and not (only_parts and set((place / UNITS_FOLDER).names()) <= {key} and UNITS_FOLDER in held):
        what = "holds what another run left" if only_parts else "is not empty"
        raise BadInput(
            f"{what}; results elsewhere are never overwritten",
            where=str(place),
            do=f"say --out with a new place, or remove what is there, then run '{stage}' again",
        )
    (place / UNITS_FOLDER / key / _BEGUN).write_bytes(b"")
    return UnfinishedPlace(place, key, job)

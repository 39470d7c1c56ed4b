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
from contextlib import ExitStack, contextmanager
from typing import Any

from pydantic import ValidationError

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.streaming.job import Job, UnitRecord
from seamtell.pipeline.streaming.unfinished import empty_part, part_name

__all__ = ["UnfinishedPlace", "open_unfinished_place"]

_UNITS = ".units"
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
        self._record_type: type[UnitRecord[Any]] = UnitRecord[job.sums]  # type: ignore[name-defined]
        self._units = place / _UNITS / key
        self._records: dict[str, bytes] = {}

    def finished(self, number: int) -> UnitRecord[Any] | None:
        """The record of a unit that an earlier run finished; None when it must be done."""
        try:
            return self._record_type.model_validate_json((self._units / f"{number:06d}.json").read_bytes())
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
        with ExitStack() as stack:
            parts = [
                stack.enter_context(PartFile(stream, schema))
                for stream, schema in zip(streams, self._tables.values(), strict=True)
            ]
            yield tuple(parts)
            for part in parts:
                part.finish()
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
        data = record.model_dump_json(indent=1).encode("utf-8")
        (self._units / f"{record.number:06d}.json").write_bytes(data)

    def write_record(self, name: str, data: bytes) -> None:
        """Keep what the whole result says of itself until everything else is there."""
        self._records[name] = data

    def publish(self, folder: Place, *, replace: bool = False) -> None:  # noqa: ARG002
        """Write the record of the whole; `folder` is the place, and nothing is ever replaced."""
        for name, schema in self._tables.items():
            if not (self.place / name).names():
                (self.place / name / part_name(0)).write_bytes(empty_part(schema))
        for name, data in self._records.items():
            (folder / name).write_bytes(data)
        (folder / _UNITS).remove()

    def discard(self) -> None:
        """Remove what this run and earlier ones of its key put."""
        for name in (*self._tables, _UNITS):
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
    only_parts = held <= {*job.tables, _UNITS}
    if held and not (only_parts and set((place / _UNITS).names()) <= {key} and _UNITS in held):
        what = "holds what another run left" if only_parts else "is not empty"
        raise BadInput(
            f"{what}; results elsewhere are never overwritten",
            where=str(place),
            do=f"say --out with a new place, or remove what is there, then run '{stage}' again",
        )
    (place / _UNITS / key / _BEGUN).write_bytes(b"")
    return UnfinishedPlace(place, key, job)

"""The folder that a run fills unit by unit, hidden until it is complete.

A run that was killed leaves it behind; the next run with the same inputs goes on with it::

    .unfinished-<stage>-<key>/
        .units/000000.json              written last: the unit is finished
        indications.parquet/part-000000.parquet
        decisions.parquet/part-000000.parquet
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

from filelock import FileLock, Timeout
from pydantic import ValidationError

from seamtell.pipeline.errors import WorkspaceBusy
from seamtell.pipeline.files.atomic import (
    TEMPORARY_PREFIX,
    flush_folder,
    make_folder,
    storage_errors,
    write_bytes_atomically,
)
from seamtell.pipeline.files.locking import held_lock
from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.streaming.job import Job, S, UnitRecord, record_type
from seamtell.pipeline.streaming.unit_files import (
    UNITS_FOLDER,
    open_parts,
    part_name,
    part_of,
    record_name,
)

__all__ = ["UNFINISHED_PREFIX", "Unfinished", "open_unfinished"]

UNFINISHED_PREFIX = ".unfinished-"
_LOCK = ".lock"


class Unfinished:
    """An unfinished folder that this run holds.

    Parameters
    ----------
    folder : Path
    job : Job
    """

    def __init__(self, folder: Path, job: Job[Any]) -> None:
        self.folder = folder
        self._tables = job.tables
        self._record_type = record_type(job)

    def finished(self, number: int) -> UnitRecord[Any] | None:
        """The record of a unit that an earlier run finished; None when it must be done."""
        path = self._record_path(number)
        with storage_errors(path):
            try:
                data = path.read_bytes()
            except FileNotFoundError:
                return None
        try:
            return self._record_type.model_validate_json(data)
        except ValidationError:
            return None

    @contextmanager
    def unit(self, number: int) -> Iterator[tuple[PartFile, ...]]:
        """Open the parts of a unit; on leaving they stand under their names, on any error none does.

        Raises
        ------
        StorageProblem
            The disk is full, read-only or fails.
        """
        paths = [self.folder / name / part_name(number) for name in self._tables]
        temporaries = [path.parent / f"{TEMPORARY_PREFIX}{uuid4().hex}" for path in paths]
        try:
            with storage_errors(self.folder), ExitStack() as stack:
                streams = [stack.enter_context(path.open("xb")) for path in temporaries]
                with open_parts(self._tables, streams) as parts:
                    yield parts
                for stream in streams:
                    stream.flush()
                    os.fsync(stream.fileno())
            for temporary, path in zip(temporaries, paths, strict=True):
                with storage_errors(path):
                    temporary.replace(path)
                    flush_folder(path.parent)
        except BaseException:
            with suppress(OSError):
                for temporary in temporaries:
                    temporary.unlink(missing_ok=True)
            raise

    def put(self, number: int, parts: Sequence[bytes]) -> None:
        """Put the parts of a unit that was done elsewhere, in the order of the job's tables.

        Raises
        ------
        StorageProblem
        """
        for name, data in zip(self._tables, parts, strict=True):
            write_bytes_atomically(self.folder / name / part_name(number), data)

    def finish(self, record: UnitRecord[S]) -> None:
        """Say that the parts of a unit are all there."""
        write_bytes_atomically(self._record_path(record.number), record.to_json())

    def write_record(self, name: str, data: bytes) -> None:
        """Write what the whole result says of itself."""
        write_bytes_atomically(self.folder / name, data)

    def publish(self, folder: Path, *, replace: bool = False) -> None:
        """Make the result visible as `folder`, which is empty or not there, or may be replaced."""
        old = folder.parent / f"{TEMPORARY_PREFIX}{uuid4().hex}"
        with storage_errors(folder):
            self._fill_empty_tables()
            if replace and folder.exists():
                folder.replace(old)
            elif folder.exists():
                folder.rmdir()
            self.folder.replace(folder)
        # What is left over when this does not come to pass is hidden, and harms no reader.
        with suppress(OSError):
            shutil.rmtree(folder / UNITS_FOLDER)
            (folder / _LOCK).unlink(missing_ok=True)
            if old.exists():
                _remove(old)

    def discard(self) -> None:
        """Remove the folder with all that is in it."""
        with suppress(OSError):
            shutil.rmtree(self.folder)

    def discard_if_empty(self) -> None:
        """Remove the folder unless a unit is finished in it, which the next run can use."""
        if not any((self.folder / UNITS_FOLDER).glob("*.json")):
            self.discard()

    def _record_path(self, number: int) -> Path:
        return self.folder / UNITS_FOLDER / record_name(number)

    def _fill_empty_tables(self) -> None:
        """A table without any part gets one without rows, so that its columns can be read."""
        for name, schema in self._tables.items():
            if not any((self.folder / name).glob("part-*.parquet")):
                write_bytes_atomically(self.folder / name / part_name(0), part_of(schema))


@contextmanager
def open_unfinished(parent: Path, stage: str, key: str, job: Job[Any]) -> Iterator[Unfinished]:
    """Hold the unfinished folder of a key; what other keys of the stage left and nobody holds is removed.

    On an error it stays when a unit is finished in it.

    Raises
    ------
    WorkspaceBusy
        Another process does the same work at this moment.
    StorageProblem
        The folder cannot be made.
    """
    folder = parent / f"{UNFINISHED_PREFIX}{stage}-{key}"
    make_folder(folder / UNITS_FOLDER)
    busy = WorkspaceBusy(
        f"another process is doing the same '{stage}' at this moment",
        where=str(folder),
        do="wait until it has ended; nothing was changed",
    )
    with held_lock(folder / _LOCK, busy):
        _remove_abandoned(parent, stage, folder)
        _remove_temporaries(folder)
        for name in job.tables:
            make_folder(folder / name)
            _remove_temporaries(folder / name)
        unfinished = Unfinished(folder, job)
        try:
            yield unfinished
        except BaseException:
            unfinished.discard_if_empty()
            raise


def _remove_temporaries(folder: Path) -> None:
    with suppress(OSError):
        for path in folder.glob(f"{TEMPORARY_PREFIX}*"):
            path.unlink(missing_ok=True)


def _remove_abandoned(parent: Path, stage: str, own: Path) -> None:
    """Remove folders whose inputs have changed since, so that no run can go on with them."""
    for folder in parent.glob(f"{UNFINISHED_PREFIX}{stage}-*"):
        if folder == own:
            continue
        lock = FileLock(folder / _LOCK)
        with suppress(OSError, Timeout):
            lock.acquire(timeout=0)
            try:
                shutil.rmtree(folder)
            finally:
                lock.release()


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()

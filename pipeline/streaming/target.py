"""Where a stage puts its units: what a folder on a disk and a place in an object store have in common."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from seamtell.pipeline.files.places import Place
from seamtell.pipeline.streaming.job import Job, UnitRecord
from seamtell.pipeline.streaming.unfinished import open_unfinished

if TYPE_CHECKING:
    from seamtell.pipeline.files.part_file import PartFile

__all__ = ["Target", "open_target"]


class Target(Protocol):
    """An unfinished result, to which finished units are added; nobody takes it for a result until it is."""

    def finished(self, number: int) -> UnitRecord[Any] | None:
        """The record of a unit that an earlier run finished; None when it must be done."""

    def unit(self, number: int) -> AbstractContextManager[tuple[PartFile, ...]]:
        """Open the parts of a unit; on leaving they stand under their names, on any error none does."""

    def put(self, number: int, parts: Sequence[bytes]) -> None:
        """Put the parts of a unit that was done elsewhere."""

    def finish(self, record: UnitRecord[Any]) -> None:
        """Say that the parts of a unit are all there."""

    def write_record(self, name: str, data: bytes) -> None:
        """Write what the whole result says of itself."""

    def publish(self, folder: Any, *, replace: bool = False) -> None:
        """Make it a result."""

    def discard(self) -> None:
        """Remove it with all that is in it."""


@contextmanager
def open_target(out: Path | Place, stage: str, key: str, job: Job[Any]) -> Iterator[Target]:
    """Open the unfinished result of a key, which ends as `out`.

    Raises
    ------
    BadInput
        A place elsewhere holds something that a run of the same key did not make.
    WorkspaceBusy
        Another process does the same work at this moment.
    StorageProblem
    """
    if isinstance(out, Place):
        from seamtell.pipeline.streaming.unfinished_place import open_unfinished_place

        yield open_unfinished_place(out, stage, key, job)
        return
    with open_unfinished(out.parent, stage, key, job) as unfinished:
        yield unfinished

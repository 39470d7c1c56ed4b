"""What is done with the seams of a store, batch by batch: the contract between a stage and what runs it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, Protocol, Self, TypeVar

from pydantic import BaseModel, ConfigDict

from seamtell.features.descriptors.registry import schema_digest
from seamtell.pipeline.store.manifest import Manifest
from seamtell.pipeline.store.row_groups import SeamRows, UnreadSeams
from seamtell.pipeline.version import software_version

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["BatchResult", "Job", "Sums", "UnitRecord", "job_key", "record_type"]


class Sums(BaseModel):
    """What a stage counts; added up over batches and units in their order."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def plus(self, other: Self) -> Self:
        """The sums of both."""
        raise NotImplementedError(type(self).__name__)


S = TypeVar("S", bound=Sums)


@dataclass(frozen=True, eq=False)
class BatchResult(Generic[S]):
    """What a job made of one batch.

    Parameters
    ----------
    sums : Sums
    tables : tuple of pyarrow.Table
        In the order of ``Job.tables``; empty when no seam of the batch is chosen.
    content : bytes
        What identifies the seams that were worked on.
    """

    sums: S
    tables: tuple[pa.Table, ...] = ()
    content: bytes = b""


class Job(Protocol[S]):
    """Work on the seams of a store; it can be sent to another process."""

    @property
    def tables(self) -> Mapping[str, pa.Schema]:
        """Tables that it makes, by name."""

    @property
    def sums(self) -> type[S]:
        """Type of what it counts; without arguments it makes the sums of nothing."""

    @property
    def inputs(self) -> dict[str, Any]:
        """What the result depends on besides the store, as JSON can hold it."""

    def work(self, rows: SeamRows) -> BatchResult[S]:
        """Work on one batch; the result of a seam does not depend on its batch."""


class UnitRecord(BaseModel, Generic[S]):
    """What a finished unit says of itself.

    Parameters
    ----------
    number : int
    content_sha256 : str
        Of the seams that were worked on.
    sums : Sums
    unread : tuple of UnreadSeams
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    number: int
    content_sha256: str
    sums: S
    unread: tuple[UnreadSeams, ...] = ()

    def to_json(self) -> bytes:
        """The content of its file."""
        return self.model_dump_json(indent=1).encode("utf-8")


def record_type(job: Job[S]) -> type[UnitRecord[S]]:
    """Type of the records of a job's units; reading one checks the sums in it."""
    of_job: type[UnitRecord[S]] = UnitRecord[job.sums]  # type: ignore[name-defined]
    return of_job


def job_key(stage: str, manifest: Manifest, unit_seams: int, inputs: Mapping[str, Any]) -> str:
    """Name for all that a result depends on: only a run of the same key may go on with what another left.

    Parameters
    ----------
    stage : str
    manifest : Manifest
    unit_seams : int
    inputs : mapping of str to anything that JSON can hold
        Digests of limits, settings and model, and what was chosen.
    """
    text = json.dumps(
        [
            stage,
            software_version(),
            schema_digest(),
            [[part.path, part.seams, part.first_welded_at, part.first_seam_id] for part in manifest.parts],
            unit_seams,
            dict(inputs),
        ],
        sort_keys=True,
        ensure_ascii=True,
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:16]

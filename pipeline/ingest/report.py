"""What an ingest did."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from seamtell.pipeline.store.rejected import RejectedRow

__all__ = ["IngestReport", "NoteCount"]


@dataclass(frozen=True)
class NoteCount:
    """A remark on seams that were taken in all the same.

    Parameters
    ----------
    code : str
        One of `NoteCode`.
    seams : int
        How many seams it concerns.
    example : str
        The first one, in words.
    """

    code: str
    seams: int
    example: str


@dataclass(frozen=True)
class IngestReport:
    """Result of taking in trace files or a section table.

    Parameters
    ----------
    files : int
        Files read.
    added, unchanged : int
        Seams (or sections) new to the store, and those it held with the same content.
    conflicts : int
        Known ids with other content; kept aside, nothing was replaced.
    rejected : int
        Rejected files, seams or rows, without conflicts.
    resolved : int
        Earlier rejections that this run settled.
    profile : str
        Input profile used; empty for sections.
    contract_files : int
        Parquet files read in the contract layout, because the profile did not fit them.
    rows : tuple of RejectedRow
        Every rejection and conflict of this run that is open.
    notes : tuple of NoteCount
    """

    files: int
    added: int
    unchanged: int
    conflicts: int
    rejected: int
    resolved: int = 0
    profile: str = ""
    contract_files: int = 0
    rows: tuple[RejectedRow, ...] = ()
    notes: tuple[NoteCount, ...] = ()

    @property
    def has_rejections(self) -> bool:
        """Whether something of this run needs a person."""
        return bool(self.rows)

    def as_document(self) -> dict[str, Any]:
        """Plain values for ``--json``."""
        return asdict(self)

"""Rejected rows of one exported table: the file is kept once, and each row is listed with what to do."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from seamtell.pipeline.ingest.reasons import InputRejected
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable

__all__ = ["RejectedRows"]

_MOST_LETTERS = 200


class RejectedRows:
    """What one table leaves among the rejected.

    Parameters
    ----------
    table : RejectedTable
        Of the workspace; the caller saves it.
    kind : InputKind
    path : Path
        File that the rows come from.
    """

    def __init__(self, table: RejectedTable, kind: InputKind, path: Path) -> None:
        self._table = table
        self._kind = kind
        self._path = path
        self._sha256 = ""
        self._open: dict[tuple[str, ...], RejectedRow] = {}

    @property
    def still_open(self) -> tuple[RejectedRow, ...]:
        """Those of the rows that nobody has settled before."""
        return tuple(self._open.values())

    def add(
        self,
        line: int,
        problem: InputRejected,
        *,
        section_id: str,
        seam_id: str = "",
        content_sha256: str = "",
    ) -> None:
        """List a row.

        Parameters
        ----------
        line : int
            Of the file, from 1.
        problem : InputRejected
        section_id, seam_id : str
            As the row has them; of any length.
        content_sha256 : str
            For a conflict: digest of the content that waits.

        Raises
        ------
        StorageProblem
            The file cannot be kept.
        """
        self._sha256 = self._sha256 or self._table.keep_file(self._path)
        kept = self._table.add(
            RejectedRow(
                kind=self._kind,
                sha256=self._sha256,
                source=str(self._path),
                row=line,
                seam_id=seam_id[:_MOST_LETTERS],
                section_id=section_id[:_MOST_LETTERS],
                reason=problem.code,
                message=problem.message,
                do=problem.do,
                content_sha256=content_sha256,
            )
        )
        if kept.is_open:
            self._open[kept.key] = kept

    def resolve_earlier(self, accepted: Collection[str] = ()) -> int:
        """Mark as resolved what this file or an `accepted` section id answers; returns how many rows.

        A conflict is only answered by its section id, not by the file.
        """
        source = str(self._path)
        return self._table.resolve(
            lambda row: (
                row.kind is self._kind
                and row.key not in self._open
                and (row.section_id in accepted or (row.source == source and not row.is_conflict))
            ),
            "added again",
        )

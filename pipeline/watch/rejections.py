"""Earlier rejections that are still open: a file that answers one goes through ingest, which settles it."""

from __future__ import annotations

from pathlib import Path

from seamtell.pipeline.store.rejected import TABLE_FILE, InputKind, read_rejected
from seamtell.pipeline.watch.trace_files import FileStamp, stamp_of

__all__ = ["OpenRejections"]


class OpenRejections:
    """Rejected traces that wait for a mended file.

    Parameters
    ----------
    folder : Path
        ``Workspace.rejected_dir``.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._stamp: FileStamp | None = None
        self._sources: frozenset[str] = frozenset()
        self._seams: frozenset[str] = frozenset()

    def concern(self, path: Path, seam_ids: set[str]) -> bool:
        """Whether one of them came from `path`, or names one of the seams.

        Raises
        ------
        StorageProblem
            The table cannot be read.
        """
        self._refresh()
        return str(path) in self._sources or not self._seams.isdisjoint(seam_ids)

    def _refresh(self) -> None:
        stamp = stamp_of(self._folder / TABLE_FILE)
        if stamp == self._stamp:
            return
        rows = [
            row
            for row in read_rejected(self._folder)
            if row.is_open and row.kind is InputKind.TRACE and not row.is_conflict
        ]
        self._sources = frozenset(row.source for row in rows)
        self._seams = frozenset(row.seam_id for row in rows if row.seam_id)
        self._stamp = stamp

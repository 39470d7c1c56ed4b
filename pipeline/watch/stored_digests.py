"""Which content the store holds under each seam id, kept up with what other commands commit."""

from __future__ import annotations

from pathlib import Path

import pyarrow.parquet as pq

from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.store.manifest import MANIFEST_FILE, Part, read_manifest
from seamtell.pipeline.watch.trace_files import FileStamp, stamp_of

__all__ = ["StoredDigests"]


class StoredDigests:
    """Content digests of all stored seams; parts that were read once are not read again.

    Parameters
    ----------
    folder : Path
        ``Workspace.traces_dir``.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._stamp: FileStamp | None = None
        self._parts: set[Part] = set()
        self.by_seam: dict[str, str] = {}

    def refresh(self) -> None:
        """Read the parts that came since the last time.

        A seam never leaves the store, and the parts that replace a part hold its seams.

        Raises
        ------
        StorageProblem
            The store cannot be read.
        """
        stamp = stamp_of(self._folder / MANIFEST_FILE)
        if stamp is None or stamp == self._stamp:
            return
        parts = set(read_manifest(self._folder).parts)
        for part in sorted(parts - self._parts, key=lambda one: one.path):
            path = self._folder / part.path
            with storage_errors(path), pq.ParquetFile(path) as file:
                table = file.read(columns=["seam_id", "content_sha256"], use_threads=False)
            ids, digests = (column.to_pylist() for column in table.columns)
            self.by_seam.update(zip(ids, digests, strict=True))
        self._parts, self._stamp = parts, stamp

    def forget(self) -> None:
        """Read all of it the next time: a commit failed, and what was gathered for it is not there."""
        self._stamp, self._parts = None, set()
        self.by_seam.clear()

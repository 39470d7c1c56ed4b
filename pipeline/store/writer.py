"""Writing the seam store: seams are gathered, then committed in one step.

Only one writer may exist at a time: hold `workspace_lock`.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from datetime import UTC
from pathlib import Path
from urllib.parse import quote

import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import TEMPORARY_PREFIX, storage_errors, write_bytes_atomically
from seamtell.pipeline.store.manifest import Manifest, Part, read_manifest, write_manifest
from seamtell.pipeline.store.rows import StoredSeam, content_sha256, part_bytes, traces_of
from seamtell.pipeline.store.seam_store import SeamStore

__all__ = ["COMMIT_SEAMS", "StoreWriter"]

COMMIT_SEAMS = 1024
"""Seams gathered before a commit: what a kill can cost, and what memory holds (about 8 KiB each)."""

_SMALL_PART_SEAMS = 128
"""A part with fewer seams is written anew together with the next seams of its line and month, so
that many small ingests do not leave as many small files."""

_MAX_ENCODED_LINE = 120


class StoreWriter:
    """Adds seams to the store in a folder.

    Parameters
    ----------
    folder : Path
        ``Workspace.traces_dir``.
    digests : dict of str to str, optional
        Content digests of all stored seams, by seam id, where they are known; kept up to date.
        Default: read from the store.
    """

    def __init__(self, folder: Path, digests: dict[str, str] | None = None) -> None:
        self.folder = folder
        self._manifest = read_manifest(folder)
        self._digests = _stored_digests(folder) if digests is None else digests
        self._waiting: list[StoredSeam] = []
        self._remove_leftovers()

    @property
    def n_waiting(self) -> int:
        """Seams gathered since the last commit."""
        return len(self._waiting)

    def digest_of(self, seam_id: str) -> str | None:
        """Content digest of a seam that is stored or waits, or None."""
        return self._digests.get(seam_id)

    def add(self, trace: SeamTrace, source: str) -> None:
        """Gather one seam that the store does not hold yet.

        Raises
        ------
        BadInput
            The store holds the seam already.
        """
        if trace.seam_id in self._digests:
            raise BadInput(
                f"seam '{trace.seam_id}' is in the store already",
                where=source,
                do="resolve the conflict first",
            )
        seam = StoredSeam(trace, source, content_sha256(trace))
        self._digests[trace.seam_id] = seam.sha256
        self._waiting.append(seam)

    def commit(self) -> None:
        """Write what was gathered and make it count.

        Raises
        ------
        StorageProblem
            The disk refuses; the store is then as after the last commit.
        """
        if not self._waiting:
            return
        places = {_place(seam) for seam in self._waiting}
        small = [
            part for part in self._manifest.parts if part.seams < _SMALL_PART_SEAMS and part.place in places
        ]
        again = [seam for part in small for seam in self._seams_of(part)]
        parts = self._write_parts([*again, *self._waiting])
        manifest = Manifest((*(part for part in self._manifest.parts if part not in small), *parts))
        write_manifest(self.folder, manifest)
        self._manifest = manifest
        self._waiting = []

    def replace(self, trace: SeamTrace, source: str) -> None:
        """Put other content in the place of a stored seam, in one commit.

        Raises
        ------
        BadInput
            The store does not hold the seam.
        """
        self.commit()
        old = next((part for part in self._manifest.parts if trace.seam_id in self._ids_of(part)), None)
        if old is None:
            raise BadInput(f"no seam '{trace.seam_id}' in the store", where=str(self.folder), do="ingest it")
        kept = [seam for seam in self._seams_of(old) if seam.trace.seam_id != trace.seam_id]
        incoming = StoredSeam(trace, source, content_sha256(trace))
        parts = self._write_parts([*kept, incoming])
        others = [part for part in self._manifest.parts if part != old]
        self._manifest = Manifest((*others, *parts))
        write_manifest(self.folder, self._manifest)
        self._digests[trace.seam_id] = incoming.sha256

    def _write_parts(self, seams: list[StoredSeam]) -> list[Part]:
        groups: dict[str, list[StoredSeam]] = defaultdict(list)
        for seam in seams:
            groups[_place(seam)].append(seam)
        return [self._write_part(place, groups[place]) for place in sorted(groups)]

    def _write_part(self, place: str, seams: list[StoredSeam]) -> Part:
        seams = sorted(seams, key=lambda seam: (seam.trace.welded_at, seam.trace.seam_id))
        data = part_bytes(seams)
        path = f"{place}/part-{hashlib.sha256(data).hexdigest()[:24]}.parquet"
        write_bytes_atomically(self.folder / path, data)
        first = seams[0].trace
        return Part(path, len(seams), first.welded_at.astimezone(UTC).isoformat(), first.seam_id)

    def _read_part(self, part: Part, columns: list[str] | None = None) -> pa.Table:
        with storage_errors(self.folder / part.path), pq.ParquetFile(self.folder / part.path) as file:
            return file.read(columns=columns)

    def _ids_of(self, part: Part) -> set[str]:
        return set(self._read_part(part, ["seam_id"]).column("seam_id").to_pylist())

    def _seams_of(self, part: Part) -> list[StoredSeam]:
        table = self._read_part(part)
        sources, digests = table.column("source").to_pylist(), table.column("content_sha256").to_pylist()
        return [
            StoredSeam(trace, source, digest)
            for trace, source, digest in zip(traces_of(table), sources, digests, strict=True)
        ]

    def _remove_leftovers(self) -> None:
        """Remove what earlier writers left: temporary files and parts the manifest does not name.

        Parts that were written anew go here too, so that a reader which began
        before still finds them until the next writer begins.
        """
        counted = {part.path for part in self._manifest.parts}
        with storage_errors(self.folder):
            for path in sorted(self.folder.rglob("*")):
                unfinished = path.name.startswith(TEMPORARY_PREFIX)
                uncounted = (
                    path.suffix == ".parquet" and path.relative_to(self.folder).as_posix() not in counted
                )
                if path.is_file() and (unfinished or uncounted):
                    path.unlink()


def _stored_digests(folder: Path) -> dict[str, str]:
    metadata = SeamStore(folder).metadata()
    return dict(zip(metadata["seam_id"], metadata["content_sha256"], strict=True))


def _place(seam: StoredSeam) -> str:
    month = seam.trace.welded_at.astimezone(UTC).strftime("%Y-%m")
    return f"line={_encoded(seam.trace.line)}/month={month}"


def _encoded(line: str) -> str:
    """The line's name as one safe folder name, whatever it holds."""
    text = quote(line, safe="")
    if len(text) <= _MAX_ENCODED_LINE:
        return text
    return f"{text[: _MAX_ENCODED_LINE - 20]}~{hashlib.sha256(line.encode()).hexdigest()[:16]}"

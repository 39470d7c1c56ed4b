"""The manifest of the seam store: which part files count. Replacing it is the commit.

A part file that the manifest does not name does not exist for any reader; the
next writer removes it. So a kill at any moment leaves the store as it was
before or after the last commit, never between.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.files.places import Place

__all__ = ["MANIFEST_FILE", "STORE_SCHEMA_VERSION", "Manifest", "Part", "read_manifest", "write_manifest"]

MANIFEST_FILE = "manifest.json"
STORE_SCHEMA_VERSION = 1


@dataclass(frozen=True)
class Part:
    """One part file.

    Parameters
    ----------
    path : str
        Relative to the store, with forward slashes.
    seams : int
        Number of rows.
    first_welded_at : str
        Time of the first row, ISO 8601; rows are sorted by (welded_at, seam_id).
    first_seam_id : str
        Seam of the first row.
    """

    path: str
    seams: int
    first_welded_at: str
    first_seam_id: str

    @property
    def place(self) -> str:
        """Folder of the part: its line and month."""
        return self.path.rsplit("/", 1)[0]

    @property
    def first_key(self) -> tuple[datetime, str]:
        """Sort key of the first row."""
        return datetime.fromisoformat(self.first_welded_at), self.first_seam_id


@dataclass(frozen=True)
class Manifest:
    """Every part file that counts, sorted by path."""

    parts: tuple[Part, ...] = ()

    @property
    def n_seams(self) -> int:
        """Number of seams in the store."""
        return sum(part.seams for part in self.parts)


def read_manifest(folder: Path | Place) -> Manifest:
    """Read the manifest of the store in `folder`; an absent one is an empty store, but only on this machine.

    Raises
    ------
    BadInput
        Written by a newer seamtell, or there is none at a place elsewhere.
    StorageProblem
        Not readable.
    """
    path = folder / MANIFEST_FILE
    data = _bytes_of(path)
    if data is None:
        return Manifest()
    try:
        document = json.loads(data)
        version = document["schema_version"]
        if version > STORE_SCHEMA_VERSION:
            raise BadInput(
                f"the seam store has schema version {version}, this seamtell knows {STORE_SCHEMA_VERSION}",
                where=str(path),
                do="install a newer seamtell; nothing was changed",
            )
        return Manifest(tuple(Part(**part) for part in document["parts"]))
    except (ValueError, KeyError, TypeError):
        raise StorageProblem(
            "the manifest of the seam store is damaged",
            where=str(path),
            do="restore it from a backup, or move the traces folder away and ingest again",
        ) from None


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Commit: replace the manifest atomically.

    Raises
    ------
    StorageProblem
        Disk full, read-only or failing; the old manifest then still counts.
    """
    parts = sorted((asdict(part) for part in manifest.parts), key=lambda part: part["path"])
    document = {"schema_version": STORE_SCHEMA_VERSION, "parts": parts}
    write_bytes_atomically(folder / MANIFEST_FILE, json.dumps(document, indent=1).encode("utf-8"))


def _bytes_of(path: Path | Place) -> bytes | None:
    if isinstance(path, Place):
        try:
            return path.read_bytes()
        except FileNotFoundError:
            raise BadInput(
                f"there is no {MANIFEST_FILE}, so no seam store",
                where=str(path.parent),
                do="mend the address: it ends with the folder that holds the manifest, often 'traces'",
            ) from None
    with storage_errors(path):
        try:
            return path.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None

"""The files of described seams: a table of Parquet parts, and a record of what it rests on.

Neither holds a time, so the same input gives the same bytes.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors

__all__ = ["DESCRIBED_FILE", "DESCRIBED_RECORD_FILE", "DescribedRecord", "check_target"]

DESCRIBED_FILE = "indications.parquet"
DESCRIBED_RECORD_FILE = "described.json"


class DescribedRecord(BaseModel):
    """``described.json``: its presence says that the folder is complete."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = 1
    software_version: str
    descriptors_digest: str
    """Of names, units and version of the descriptors."""
    limits_digest: str
    input_digest: str
    """SHA-256 over the ids and content digests of the seams."""
    seams: int
    indications: int
    not_described: int
    unread_seams: int

    def to_json(self) -> bytes:
        """The file's content."""
        return (self.model_dump_json(indent=2) + "\n").encode("utf-8")


def check_target(folder: Path) -> None:
    """Refuse to write where something stands that ``describe`` did not make.

    Raises
    ------
    BadInput
        `folder` is a file, is named like one, or holds other things.
    """
    if folder.suffix.lower() in {".parquet", ".csv"}:
        raise BadInput(
            f"got '{folder.name}', expected a folder: the result is a table of many parts and a record",
            where=str(folder),
            do="say --out DIR",
        )
    with storage_errors(folder):
        if folder.exists() and not folder.is_dir():
            raise BadInput("is a file, expected a folder to write", where=str(folder), do="say --out DIR")
        if not folder.exists() or not any(folder.iterdir()):
            return
        ours = {DESCRIBED_FILE, DESCRIBED_RECORD_FILE}
        other = sorted(
            path.name for path in folder.iterdir() if path.name not in ours and path.name[0] != "."
        )
    if other or not (folder / DESCRIBED_FILE).exists():
        raise BadInput(
            f"holds '{(other or ['something else'])[0]}', which describing did not make",
            where=str(folder),
            do="say --out with a new folder; nothing was overwritten",
        )

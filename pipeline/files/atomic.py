"""Writing a file so that a reader sees the old bytes or the new ones, never half of them.

Temporary file in the same folder, flush to the disk, rename over the target,
flush the folder. What goes wrong on the disk becomes one `StorageProblem`.
"""

from __future__ import annotations

import errno
import hashlib
import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from seamtell.pipeline.errors import StorageProblem

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = [
    "TEMPORARY_PREFIX",
    "copy_addressed",
    "flush_folder",
    "make_folder",
    "storage_errors",
    "storage_problem",
    "write_bytes_atomically",
    "write_table_atomically",
]

TEMPORARY_PREFIX = ".tmp-"
"""Names of unfinished files begin so; the next writer removes what a killed one left."""

_ADVICE = {
    errno.ENOSPC: (
        "the disk is full",
        "free space, then run the same command again; nothing is half written",
    ),
    errno.EDQUOT: ("the disk quota is used up", "free space, then run the same command again"),
    errno.EROFS: ("the disk is read-only", "mount it writable, or use a workspace elsewhere"),
    errno.EACCES: ("no permission", "let your user write to this folder, or use a workspace elsewhere"),
    errno.ENOTDIR: ("part of this path is a file, not a folder", "choose another place"),
    errno.EEXIST: ("a file stands where a folder is needed", "choose another place"),
    errno.EISDIR: ("a folder stands where a file is needed", "choose another name"),
    errno.ENOENT: ("no such file or folder", "mend the path"),
    errno.ENAMETOOLONG: ("the name is too long for this disk", "choose a shorter one"),
    errno.EPERM: ("no permission", "let your user write to this folder, or use a workspace elsewhere"),
}


@contextmanager
def storage_errors(path: Path) -> Iterator[None]:
    """Turn an `OSError` on `path` into a `StorageProblem` of one line."""
    try:
        yield
    except OSError as problem:
        raise storage_problem(str(path), problem) from problem


def storage_problem(where: str, problem: OSError) -> StorageProblem:
    """What the operating system refused, in plain words and with advice."""
    what, todo = _ADVICE.get(
        problem.errno or 0,
        (f"the disk answers '{problem.strerror or problem}'", "look after the disk, then run again"),
    )
    return StorageProblem(what, where=where, do=todo)


def make_folder(path: Path) -> None:
    """Make a folder and its parents.

    Raises
    ------
    StorageProblem
        Full, read-only or forbidden.
    """
    with storage_errors(path):
        path.mkdir(parents=True, exist_ok=True)


def write_bytes_atomically(path: Path, data: bytes) -> None:
    """Put `data` at `path`; after a crash the file is the old one or the new one.

    Raises
    ------
    StorageProblem
        Disk full, read-only or failing; the old file is then untouched.
    """
    make_folder(path.parent)
    with storage_errors(path):
        temporary = path.parent / f"{TEMPORARY_PREFIX}{uuid.uuid4().hex}"
        try:
            with temporary.open("xb") as stream:
                _write_all(stream, data)
                stream.flush()
                os.fsync(stream.fileno())
            temporary.replace(path)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        flush_folder(path.parent)


def write_table_atomically(table: pd.DataFrame | pa.Table, path: Path) -> None:
    """Put a table at `path` as Parquet (zstd), atomically.

    Raises
    ------
    StorageProblem
        Disk full, read-only or failing.
    """
    import io

    import pyarrow as pa
    import pyarrow.parquet as pq

    arrow = table if isinstance(table, pa.Table) else pa.Table.from_pandas(table, preserve_index=False)
    buffer = io.BytesIO()
    pq.write_table(arrow, buffer, compression="zstd")
    write_bytes_atomically(path, buffer.getvalue())


def copy_addressed(source: Path, folder: Path) -> str:
    """Copy a file of any size into `folder` under its SHA-256; memory stays small.

    Returns
    -------
    str
        The digest in hexadecimal, which is also the file's name.
    """
    with storage_errors(source), source.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    target = folder / digest
    if target.exists():
        return digest
    make_folder(folder)
    with storage_errors(target):
        temporary = folder / f"{TEMPORARY_PREFIX}{uuid.uuid4().hex}"
        try:
            with source.open("rb") as reading, temporary.open("xb") as writing:
                while block := reading.read(1 << 20):
                    _write_all(writing, block)
                writing.flush()
                os.fsync(writing.fileno())
            temporary.replace(target)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        flush_folder(folder)
    return digest


def _write_all(stream: BinaryIO, data: bytes) -> None:
    stream.write(data)


def flush_folder(folder: Path) -> None:
    """Make the rename itself survive a power cut; only POSIX can open a folder for that."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

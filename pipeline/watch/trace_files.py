"""Trace files of a folder by name, and what tells that one was touched."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from seamtell.pipeline.ingest.discover import TRACE_SUFFIXES

__all__ = ["FileStamp", "files_below", "is_trace_name", "stamp_of"]


@dataclass(frozen=True)
class FileStamp:
    """What tells that a file was touched.

    Parameters
    ----------
    size : int
        Bytes.
    mtime_ns, ctime_ns : int
    """

    size: int
    mtime_ns: int
    ctime_ns: int


def is_trace_name(name: str) -> bool:
    """Whether a name is that of a trace file, and not of one that is still being made.

    Examples
    --------
    >>> [is_trace_name(name) for name in ("S-1.csv", "S-1.csv.part", "S-1.tmp", ".S-1.csv", "~S-1.csv")]
    [True, False, False, False, False]
    """
    return not name.startswith((".", "~")) and name.lower().endswith(TRACE_SUFFIXES)


def stamp_of(path: Path) -> FileStamp | None:
    """Size and times of a regular file; None when there is none that can be looked at."""
    try:
        found = path.stat()
    except OSError:
        return None
    return _stamp(found) if stat.S_ISREG(found.st_mode) else None


def files_below(folder: Path, recursive: bool) -> Iterator[Path]:
    """Trace files by name; a folder that cannot be read, or that goes away meanwhile, holds none."""
    for here, below, names in os.walk(folder):
        below[:] = sorted(name for name in below if recursive and not name.startswith("."))
        yield from (Path(here, name) for name in sorted(names) if is_trace_name(name))


def _stamp(found: os.stat_result) -> FileStamp:
    return FileStamp(found.st_size, found.st_mtime_ns, found.st_ctime_ns)

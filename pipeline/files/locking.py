"""Locks between processes: one writer of a workspace at a time, and one process at each piece of work."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from seamtell.pipeline.errors import WorkspaceBusy
from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.workspace import Workspace

__all__ = ["held_lock", "workspace_lock"]


@contextmanager
def held_lock(path: Path, busy: WorkspaceBusy) -> Iterator[None]:
    """Hold a lock file; the operating system frees it when the process dies.

    Parameters
    ----------
    path : Path
        In a folder that exists.
    busy : WorkspaceBusy
        Raised at once where another process holds it; this never waits.

    Raises
    ------
    WorkspaceBusy
    StorageProblem
        The lock file cannot be written.
    """
    lock = FileLock(path)
    with storage_errors(path.parent):
        try:
            lock.acquire(timeout=0)
        except Timeout:
            raise busy from None
    try:
        yield
    finally:
        lock.release()


@contextmanager
def workspace_lock(workspace: Workspace) -> Iterator[None]:
    """Hold the workspace for writing.

    Raises
    ------
    WorkspaceBusy
        Another command holds it. This never waits.
    StorageProblem
        The lock file cannot be written.
    """
    busy = WorkspaceBusy(
        "another seamtell command is changing this workspace",
        where=str(workspace.root),
        do="wait until it has ended, then run this one again; nothing was changed",
    )
    with held_lock(workspace.lock_path, busy):
        yield

"""One writer at a time: the lock that a command holds while it changes a workspace."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from filelock import FileLock, Timeout

from seamtell.pipeline.errors import WorkspaceBusy
from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.workspace import Workspace

__all__ = ["workspace_lock"]


@contextmanager
def workspace_lock(workspace: Workspace) -> Iterator[None]:
    """Hold the workspace for writing; the operating system frees it when the process dies.

    Raises
    ------
    WorkspaceBusy
        Another command holds it. This never waits.
    StorageProblem
        The lock file cannot be written.
    """
    lock = FileLock(workspace.lock_path)
    with storage_errors(workspace.root):
        try:
            lock.acquire(timeout=0)
        except Timeout:
            raise WorkspaceBusy(
                "another seamtell command is changing this workspace",
                where=str(workspace.root),
                do="wait until it has ended, then run this one again; nothing was changed",
            ) from None
    try:
        yield
    finally:
        lock.release()

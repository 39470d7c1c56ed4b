"""A seam store that lies elsewhere than in the workspace whose limits and model are used on it."""

from __future__ import annotations

from pathlib import Path

from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.rejected import open_conflicts
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["conflicts_of"]


def conflicts_of(ws: Workspace, store: Path | Place | None) -> frozenset[str]:
    """Seams with two differing traces, as the workspace knows them and as is written beside `store`.

    Parameters
    ----------
    store : Path or Place, optional
        Folder of the manifest; default: the store of the workspace.

    Raises
    ------
    StorageProblem
        A table of rejected input is damaged or not readable: then nobody knows the conflicts.
    """
    known = SeamStore(ws.traces_dir).conflicts()
    return known if store is None else known | open_conflicts(store.parent / "rejected")

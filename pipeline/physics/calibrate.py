"""The stage behind ``seamtell physics fit``: read blank and runs, fit, keep the result."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.physics.blank_file import read_blank
from seamtell.pipeline.physics.fit_file import Fit, write_fit
from seamtell.pipeline.physics.physics_file import read_physics
from seamtell.pipeline.physics.reference_fit import fit_reference
from seamtell.pipeline.physics.reference_runs import read_runs
from seamtell.pipeline.workspace import Workspace

__all__ = ["calibrate"]


def calibrate(
    ws: Workspace,
    blank_path: Path,
    paths: Sequence[Path],
    line: str,
    *,
    profile: str | None = None,
    now: datetime,
) -> tuple[Fit, Path]:
    """Fit a line's head to runs of a reference blank; the seam store is neither read nor written.

    Raises
    ------
    BadInput
        Something given cannot be used, or the fit did not converge.
    WorkspaceBusy
        Another command is writing.
    """
    physics = read_physics(ws.physics_path)
    blank = read_blank(blank_path, physics)
    runs = read_runs(ws, paths, profile, blank, line)
    fit = fit_reference(physics, blank, runs, line, now=now)
    with workspace_lock(ws):
        return fit, write_fit(ws, fit)

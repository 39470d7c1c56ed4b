"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["AsJson", "BlankFile", "BlankRuns", "DecisionsDir", "ProfileName", "WorkspaceDir"]

WorkspaceDir = Annotated[
    Path | None,
    typer.Option("--workspace", "-w", help="Workspace folder; default: found upwards from here."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]
DecisionsDir = Annotated[
    Path | None,
    typer.Option("--decisions", help="Folder of decisions; default: the newest of the workspace."),
]
ProfileName = Annotated[
    str | None,
    typer.Option("--profile", "-p", help="Input profile: a name in profiles/, or a path."),
]
BlankFile = Annotated[Path, typer.Argument(metavar="BLANK.toml", help="File of the reference blank.")]
BlankRuns = Annotated[list[Path], typer.Argument(metavar="TRACE...", help="Its runs: files, folders, globs.")]

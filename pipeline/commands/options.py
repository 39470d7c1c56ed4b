"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["AsJson", "WorkspaceDir"]

WorkspaceDir = Annotated[
    Path | None,
    typer.Option("--workspace", "-w", help="Workspace folder; default: found upwards from here."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")]

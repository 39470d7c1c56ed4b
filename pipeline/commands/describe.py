"""``seamtell describe``: one row per indication, to Parquet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

__all__ = ["register"]

Out = Annotated[
    Path | None, typer.Option("--out", help="Parquet file; default: described/indications.parquet.")
]
Workers = Annotated[
    int, typer.Option("--workers", min=1, max=64, help="Processes; same result with any number.")
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("describe")(_describe)


def _describe(
    out: Out = None, workers: Workers = 1, workspace: WorkspaceDir = None, as_json: AsJson = False
) -> None:
    """Find the indications of every stored seam and write one row each with all descriptors."""
    from seamtell.pipeline.describe import describe
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    result = describe(ws, out, workers=workers)
    for recipe, seams in result.without_limits.items():
        console.warn(
            f"limits.toml: no recipe '{recipe}', so {seams} seams were left out. "
            f"To do: add its limits, then run again"
        )
    if result.conflicts:
        console.warn(
            f"{result.conflicts} seams have two differing traces; described by the first one, and flagged "
            "in column 'conflict'. To do: see 'seamtell rejected'"
        )
    if as_json:
        console.print_json(
            {
                "path": str(result.path),
                "seams": result.seams,
                "indications": result.indications,
                "conflicts": result.conflicts,
                "without_limits": result.without_limits,
            }
        )
        return
    console.say(f"{result.indications} indications of {result.seams} seams: {result.path}")
    console.next_step("seamtell show SEAM, or seamtell train")

"""``seamtell dossier``: the record that a quality engineer signs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

__all__ = ["register"]

ModelId = Annotated[str, typer.Argument(metavar="MODEL", help="Evaluated model, for example m-0001.")]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder to write to; default: reports/MODEL/dossier."),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("dossier")(_dossier)


def _dossier(
    model: ModelId, out: Out = None, workspace: WorkspaceDir = None, as_json: AsJson = False
) -> None:
    """Write the dossier of an evaluated model: one HTML file, one PDF, tables as CSV, figures as SVG.

    It shows what evaluation, criteria and approval log hold, and computes no figure of its own.
    """
    from datetime import UTC, datetime
    from time import perf_counter

    from seamtell.pipeline.dossier.making import make_dossier
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    begun = perf_counter()
    result = make_dossier(ws, model, now=datetime.now(UTC), out=out)
    seconds = perf_counter() - begun
    inside = result.folder.is_relative_to(ws.root)
    folder = result.folder.relative_to(ws.root) if inside else result.folder
    if as_json:
        console.print_json(
            {
                "model_id": result.model_id,
                "folder": str(folder),
                "answer": result.answer,
                "seconds": round(seconds, 1),
                "files": result.files,
            }
        )
        return
    tables = sum(1 for name in result.files if name.startswith("tables/"))
    figures = sum(1 for name in result.files if name.startswith("figures/"))
    console.say(result.answer)
    console.say(
        f"Dossier: {folder}/dossier.html, {folder}/dossier.pdf, {tables} tables, {figures} figures "
        f"({seconds:.1f} s)."
    )
    console.caution()
    console.next_step(f"seamtell approve {result.model_id} --by NAME --reason TEXT")

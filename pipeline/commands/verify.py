"""``seamtell verify`` and ``seamtell anchor``: is everything as it was signed?"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

__all__ = ["register"]

AnchorFile = Annotated[
    Path | None, typer.Option("--anchor", metavar="FILE", help="Head of the log that was kept elsewhere.")
]
NoRegistry = Annotated[
    bool, typer.Option("--no-registry", help="Leave the aliases of the model registry out.")
]
Out = Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write it there; default: print it.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("verify")(_verify)
    app.command("anchor")(_anchor)


def _verify(
    anchor: AnchorFile = None,
    no_registry: NoRegistry = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Recompute all that was signed from the files, and name what does not match."""
    from dataclasses import asdict

    from seamtell.pipeline.sign_off.anchor import read_anchor
    from seamtell.pipeline.verify import verify
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    kept = read_anchor(anchor) if anchor is not None else None
    result = verify(ws, now=datetime.now(UTC), anchor=kept, registry=not no_registry)
    first = result.first_mismatch
    if as_json:
        console.print_json(
            {
                "verified": first is None,
                "first_mismatch": first.name if first else "",
                "approved_model_id": result.approved_model_id,
                "checks": [asdict(check) for check in result.checks],
            }
        )
    else:
        console.print_table(
            ("check", "result", "what was found"),
            [(check.name, check.outcome.value, check.text) for check in result.checks],
        )
    if first is not None:
        console.error(f"{first.name}: {first.text}")
        raise typer.Exit(console.ExitCode.NOT_VERIFIED)
    if not as_json:
        console.say("Everything that could be checked is as it was signed.")
        if kept is None:
            console.say("That the end of the log was not cut or written anew, only an anchor can show.")


def _anchor(out: Out = None, workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """State the last entry of the log, to be kept where nobody with access to the workspace can change it."""
    from seamtell.pipeline.sign_off.anchor import head_anchor, write_anchor
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    head = head_anchor(ws, now=datetime.now(UTC))
    if out is not None:
        write_anchor(ws, head, out)
    if as_json or out is None:
        console.print_json(head.model_dump(mode="json"))
        return
    console.say(f"Anchor of entry {head.seq}, {head.digest}: {out}")
    console.next_step(f"keep it elsewhere, then: seamtell verify --anchor {out}")

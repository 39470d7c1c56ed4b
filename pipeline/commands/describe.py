"""``seamtell describe``: one row per indication, to Parquet."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.beyond import Scheduler, Store, running, where
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir
from seamtell.pipeline.commands.unread import exit_if_unread, warn_unread

__all__ = ["register"]

Out = Annotated[
    str | None,
    typer.Option(
        "--out",
        metavar="DIR|URL",
        help="New folder or URL, or a folder that describe made; default: described in the workspace.",
    ),
]
Threads = Annotated[
    int | None,
    typer.Option("--threads", min=1, max=64, help="Default: one a core; same result with any number."),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("describe")(_describe)


def _describe(
    out: Out = None,
    store: Store = None,
    scheduler: Scheduler = None,
    threads: Threads = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Find the indications of every stored seam and write one row each with all descriptors."""
    from seamtell.pipeline.describe import describe
    from seamtell.pipeline.store.manifest import read_manifest
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    elsewhere = where(store)
    traces = elsewhere or ws.traces_dir
    with (
        running(scheduler, traces) as run,
        console.counting("describe", read_manifest(traces).n_seams) as on_seams,
    ):
        result = describe(ws, where(out), store=elsewhere, run=run, threads=threads, on_seams=on_seams)
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
    if result.not_described:
        console.warn(
            f"{result.not_described} seams could not be described: their traces are damaged in the store. "
            "To do: ingest them again"
        )
    warn_unread(result.unread)
    if as_json:
        console.print_json(
            {
                "path": str(result.path),
                "seams": result.seams,
                "indications": result.indications,
                "conflicts": result.conflicts,
                "without_limits": result.without_limits,
                "not_described": result.not_described,
                "unread": [asdict(one) for one in result.unread],
            }
        )
        exit_if_unread(result.unread)
        return
    console.say(f"{result.indications} indications of {result.seams} seams: {result.path}")
    console.next_step("seamtell show SEAM, or seamtell train")
    exit_if_unread(result.unread)

"""``seamtell train`` and ``seamtell track push``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.train import TrainResult

__all__ = ["register"]

_FIGURES = ("log loss", "standard error", "macro-F1", "macro-F1 at unseen sizes")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("train")(_train)
    track = typer.Typer(
        help="Experiment tracking: what still waits to be sent.", no_args_is_help=True, rich_markup_mode=None
    )
    track.callback()(_track)
    track.command("push")(_push)
    app.add_typer(track, name="track")


def _train(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Train every candidate on the older sections and save the simplest good one as a new model."""
    from datetime import UTC, datetime

    from seamtell.pipeline.train import train
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    result = train(ws, now=datetime.now(UTC))
    if as_json:
        console.print_json(_document(result))
    else:
        _print_train(result, str(result.folder.relative_to(ws.root)))
    if not result.tracked:
        console.warn(
            "the tracking server did not take the run; the model is complete, the run waits in "
            "tracking/outbox. To do: run 'seamtell track push' when the server is back"
        )
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)


def _print_train(result: TrainResult, folder: str) -> None:
    for warning in result.warnings:
        console.warn(warning)
    console.say("Sections")
    console.print_table(
        ("class", "older", "that met an indication", "held out", "note"),
        [
            (
                c.flaw,
                c.training,
                c.fitted,
                c.held_out,
                f"not learnt, {c.missing} more needed" if c.missing else "",
            )
            for c in result.class_counts
        ],
        right=("older", "that met an indication", "held out"),
    )
    console.say("Candidates, cross-validated on the older sections")
    console.print_table(
        ("candidate", *_FIGURES, "note"),
        [
            (
                s.name,
                f"{s.log_loss:.3f}",
                f"{s.standard_error:.3f}",
                f"{s.macro_f1:.3f}",
                _figure(s.size_band_macro_f1),
                "chosen: simplest within one standard error of the best" if s.chosen else "",
            )
            for s in result.candidate_table
        ],
        right=_FIGURES,
    )
    if result.left_out_classes:
        console.say(f"Left out, too few sections: {', '.join(result.left_out_classes)}.")
    console.say(f"Held out, the newest sections: welded from {result.cut_time}.")
    console.say(f"Model {result.model_id}: {folder}, digest {result.digest[:12]}")
    console.caution()
    console.next_step(f"seamtell evaluate {result.model_id}")


def _figure(value: float) -> str:
    return f"{value:.3f}" if math.isfinite(value) else "unknown"


def _document(result: TrainResult) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "model_id": result.model_id,
        "folder": str(result.folder),
        "digest": result.digest,
        "candidates": [
            {name: None if value != value else value for name, value in asdict(score).items()}
            for score in result.candidate_table
        ],
        "classes": [asdict(count) for count in result.class_counts],
        "left_out_classes": list(result.left_out_classes),
        "warnings": list(result.warnings),
        "cut_time": result.cut_time,
        "tracked": result.tracked,
    }


def _track() -> None:
    """Experiment tracking: what still waits to be sent."""


def _push(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Send the runs that wait in the outbox to the tracking server."""
    from seamtell.pipeline.tracking.runs import push
    from seamtell.pipeline.workspace import find_workspace

    result = push(find_workspace(explicit=workspace))
    if as_json:
        console.print_json(
            {"sent": list(result.sent), "waiting": list(result.waiting), "problem": result.problem}
        )
    else:
        console.say(f"{len(result.sent)} sent, {len(result.waiting)} waiting.")
    if result.waiting:
        console.warn(f"{result.problem}. To do: run 'seamtell track push' when the server is back")
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)

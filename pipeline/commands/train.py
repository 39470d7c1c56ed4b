"""``seamtell train`` and ``seamtell track push``."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.train import TrainResult

__all__ = ["register"]


class Physics(StrEnum):
    """Which simulated flaws join the sections."""

    NONE = "none"
    IMPLANTED = "implanted"
    SIMULATED = "simulated"


PhysicsOption = Annotated[
    Physics,
    typer.Option(
        "--physics",
        help="Which simulated flaws join the sections: none, those implanted into recorded seams, or those "
        "in simulated seams. With no section at all, the model is for trial runs only.",
    ),
]
_WEIGHT = "weight of simulated"
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


def _train(
    physics: PhysicsOption = Physics.NONE, workspace: WorkspaceDir = None, as_json: AsJson = False
) -> None:
    """Train every candidate on the older sections and save the simplest good one as a new model."""
    from datetime import UTC, datetime

    from seamtell.pipeline.train import train
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    result = train(ws, physics=physics.value, now=datetime.now(UTC))
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
    _print_sections(result)
    _print_candidates(result)
    if result.simulated_flaws:
        flaws = ", ".join(f"{label} {count}" for label, count in result.simulated_flaws.items())
        console.say(f"Simulated flaws ({result.physics}) that joined: {flaws}.")
    if result.left_out_classes:
        what = "simulated flaws" if result.physics_only else "sections"
        console.say(f"Left out, too few {what}: {', '.join(result.left_out_classes)}.")
    if result.cut_time:
        console.say(f"Held out, the newest sections: welded from {result.cut_time}.")
    marked = "physics_only, " if result.physics_only else ""
    console.say(f"Model {result.model_id}: {marked}{folder}, digest {result.digest[:12]}")
    console.caution()
    if result.physics_only:
        console.next_step(f"seamtell classify --trial {result.model_id}")
    else:
        console.next_step(f"seamtell evaluate {result.model_id}")


def _print_sections(result: TrainResult) -> None:
    console.say("Sections")
    console.print_table(
        ("class", "older", "that met an indication", "held out", "note"),
        [
            (
                c.flaw,
                c.training,
                c.fitted,
                c.held_out,
                f"not learnt, {c.missing} more needed" if c.missing and not result.physics_only else "",
            )
            for c in result.class_counts
        ],
        right=("older", "that met an indication", "held out"),
    )


def _print_candidates(result: TrainResult) -> None:
    judged_on = "simulated flaws: physics judged by physics" if result.physics_only else "the older sections"
    weighed = bool(result.simulated_weights)
    console.say(f"Candidates, cross-validated on {judged_on}")
    weight_column = (_WEIGHT,) if weighed else ()
    console.print_table(
        ("candidate", *_FIGURES, *weight_column, "note"),
        [
            (
                s.name,
                f"{s.log_loss:.3f}",
                f"{s.standard_error:.3f}",
                f"{s.macro_f1:.3f}",
                _figure(s.size_band_macro_f1),
                *((f"{result.simulated_weights[s.name]:g}",) if weighed else ()),
                "chosen: simplest within one standard error of the best" if s.chosen else "",
            )
            for s in result.candidate_table
        ],
        right=(*_FIGURES, *weight_column),
    )


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
        "physics": str(result.physics),
        "physics_only": result.physics_only,
        "simulated_weights": dict(result.simulated_weights),
        "simulated_flaws": dict(result.simulated_flaws),
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
            {
                "sent": list(result.sent),
                "waiting": list(result.waiting),
                "mended": list(result.mended),
                "problem": result.problem,
            }
        )
    else:
        console.say(f"{len(result.sent)} sent, {len(result.waiting)} waiting.")
        for alias in result.mended:
            console.say(f"Alias '{alias}' moved to where the approval log has it.")
    if result.waiting or result.problem:
        console.warn(f"{result.problem}. To do: run 'seamtell track push' when the server is back")
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)

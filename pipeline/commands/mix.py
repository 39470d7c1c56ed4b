"""``seamtell mix``: how often each flaw was labelled."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.mix import MixShare

__all__ = ["register"]

By = Annotated[
    str,
    typer.Option(
        "--by", help="Metadata column, for example line, recipe, coil, shift, month; default: none."
    ),
]
Decisions = Annotated[
    Path | None,
    typer.Option("--decisions", help="Folder of decisions; default: the newest of the workspace."),
]
Csv = Annotated[Path | None, typer.Option("--csv", help="Also write the shares to this CSV file.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("mix")(_mix)


def _mix(
    by: By = "",
    decisions: Decisions = None,
    csv: Csv = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Print counts and shares of each flaw, with false indications and unclassified ones beside them."""
    from seamtell.pipeline.mix import (
        NO_MODEL_WARNING,
        RAW_LABELS_WARNING,
        TRIAL_WARNING,
        flaw_mix,
        write_mix_csv,
    )
    from seamtell.pipeline.workspace import find_workspace

    result = flaw_mix(find_workspace(explicit=workspace), decisions, by)
    if csv is not None:
        write_mix_csv(result, csv)
    console.warn(RAW_LABELS_WARNING)
    if result.trial:
        console.warn(TRIAL_WARNING)
    if result.deviation:
        console.warn(result.deviation)
    if not result.model_digest:
        console.warn(NO_MODEL_WARNING)
    if as_json:
        from dataclasses import asdict

        console.print_json(
            {
                "decisions": str(result.folder),
                "by": result.by,
                "model_digest": result.model_digest,
                "trial": result.trial,
                "physics_only": result.physics_only,
                "deviation": result.deviation,
                "warning": RAW_LABELS_WARNING,
                "seams": result.seams,
                "shares": [asdict(share) for share in result.shares],
            }
        )
        return
    console.say("Indications by label")
    console.print_table(
        (result.by or "group", "label", "count", "of", "share", "95 % interval"),
        [(s.group, _label(s.label), s.count, s.n, _share(s), _interval(s)) for s in result.shares],
        right=("count", "of", "share", "95 % interval"),
    )
    console.say(f"Counted from {result.folder}, {result.seams['all']} seams.")
    console.caution()


def _label(label: str) -> str:
    return "sound (false indication)" if label == "sound" else label


def _share(one: MixShare) -> str:
    return "no indication" if one.share is None else f"{one.share:.3f}"


def _interval(one: MixShare) -> str:
    return "" if one.low is None or one.high is None else f"[{one.low:.3f}, {one.high:.3f}]"

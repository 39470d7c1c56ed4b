"""``seamtell retrain``: from new sections to a candidate for approval."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.retrain.making import RetrainResult
    from seamtell.pipeline.workspace import Workspace

__all__ = ["register"]

SectionsFile = Annotated[
    Path, typer.Argument(metavar="SECTIONS_FILE", help="New sections, CSV or Parquet; or a returned form.")
]
Replace = Annotated[
    bool, typer.Option("--replace", help="Let rows replace sections of the same id; the old ones are kept.")
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("retrain")(_retrain)


def _retrain(
    sections_file: SectionsFile,
    replace: Replace = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Take in new sections, train, evaluate, compare with the approved model, and write the dossier.

    The candidate labels nothing before somebody has approved it. A run that was cut short is gone
    on with by the same command.
    """
    from datetime import UTC, datetime

    from seamtell.pipeline.retrain.making import retrain
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    with console.counting("retrain", 4) as count:
        result = retrain(
            ws, sections_file, now=datetime.now(UTC), replace=replace, on_step=lambda _: count(1)
        )
    if as_json:
        console.print_json(
            {
                "page": str(result.page),
                "dossier": str(result.dossier),
                "resumed": result.resumed,
                "tracked": result.tracked,
                "sections": result.sections.as_document(),
                **result.record.model_dump(mode="json"),
            }
        )
    else:
        _print(result, ws)
    if result.sections.has_rejections:
        raise typer.Exit(console.ExitCode.DONE_WITH_REJECTIONS)
    if not result.tracked:
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)


def _print(result: RetrainResult, ws: Workspace) -> None:
    record, report = result.record, result.sections
    if report.has_rejections:
        console.warn(
            f"{report.rejected + report.conflicts} rows of the file were not taken in. "
            "To do: run 'seamtell rejected'"
        )
    if not result.tracked:
        console.warn("the tracking server did not take the run. To do: run 'seamtell track push' later")
    if result.resumed:
        console.say(f"Gone on with {record.model_id}, which an earlier run had trained from the same inputs.")
    console.say(f"Sections: {report.added} added, {report.unchanged} unchanged.")
    for part in record.shared:
        if part.unknown:
            console.say(f"{_NAMES[part.name]}: unknown, {part.unknown}.")
            continue
        console.say(f"{_NAMES[part.name]}, answered right")
        console.print_table(
            ("class", f"candidate {record.model_id}", f"approved {record.approved_model_id}", "p"),
            [
                (one.label, one.candidate, one.approved, "" if one.p_exact is None else f"{one.p_exact:.2g}")
                for one in part.classes
            ],
            right=("p",),
        )
    console.say(record.sentence)
    console.say(
        f"Pages: {result.page.relative_to(ws.root)}, {result.dossier.relative_to(ws.root)}/dossier.html"
    )
    console.caution()
    console.next_step(
        f"read both pages; if it shall label: seamtell approve {record.model_id} --by NAME --reason TEXT"
    )


_NAMES = {"held_out": "Same held-out sections", "newest": "Newest sections, added since"}

"""``seamtell process``: one page on what dominates, where and since when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, DecisionsDir, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.process_report import ProcessReport

__all__ = ["register"]

BaselineWeeks = Annotated[
    int | None,
    typer.Option(
        "--baseline-weeks",
        min=8,
        help="Weeks at the start that set the limits of the u-charts; default: a quarter, at least 8.",
    ),
]
Out = Annotated[Path | None, typer.Option("--out", help="File to write; default: reports/process.html.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("process")(_process)


def _process(
    decisions: DecisionsDir = None,
    baseline_weeks: BaselineWeeks = None,
    out: Out = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Write the process page: what dominates, where and since when, instrument health, what to cut next."""
    from datetime import UTC, datetime

    from seamtell.pipeline.process_report import make_process_page
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    report = make_process_page(ws, decisions, baseline_weeks=baseline_weeks, out=out, now=datetime.now(UTC))
    if as_json:
        console.print_json(_document(report))
        return
    view = report.view
    for warning in view.warnings:
        console.warn(warning)
    for sentence in (*view.answer, *view.news):
        console.say(sentence)
    console.say(
        f"From {view.seams} seams, {view.metres / 1000:.2f} km, {view.indications} indications, welded "
        f"{view.first_day} to {view.last_day}."
    )
    console.caution()
    console.next_step(f"open {report.path}")


def _document(report: ProcessReport) -> dict[str, Any]:
    """What was found, without the rows that only figures need."""
    from dataclasses import asdict

    view = report.view
    return {
        "page": str(report.path),
        "seams": view.seams,
        "metres": view.metres,
        "indications": view.indications,
        "answer": view.answer,
        "warnings": view.warnings,
        "news": view.news,
        "mix": [asdict(row) for row in view.mix if row.line == row.recipe == row.period == "all"],
        "changes": [asdict(row) for row in view.changes],
        "marks": [asdict(row) for row in view.marks],
        "groups": [asdict(row) for row in view.groups],
        "even": [asdict(row) for row in view.even],
        "hints": [asdict(row) for row in view.hints],
        "health": view.health,
        "trends": view.trends,
        "drift": view.drift,
        "cuts": [asdict(row) for row in view.cuts],
    }

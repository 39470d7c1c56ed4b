"""``seamtell sections add`` and ``readings``: take in destructive sections, and what examiners saw."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    sections = typer.Typer(no_args_is_help=True, help="Destructive sections, the truth to learn from.")
    sections.command("add")(add)
    sections.command("readings")(readings)
    app.add_typer(sections, name="sections")


def add(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Section table, CSV or Parquet.")],
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Let rows replace sections of the same id; the old ones are kept."),
    ] = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Take in a section table, checked row by row against the store; bad rows are kept aside."""
    from seamtell.pipeline.commands.ingest import print_report
    from seamtell.pipeline.store.sections import add_sections
    from seamtell.pipeline.workspace import find_workspace

    report = add_sections(find_workspace(explicit=workspace), file, replace=replace)
    if as_json:
        console.print_json(report.as_document())
    else:
        print_report(report, "sections")
        if not report.has_rejections:
            console.next_step("seamtell train")
    if report.has_rejections:
        raise typer.Exit(console.ExitCode.DONE_WITH_REJECTIONS)


def readings(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="Table: section_id, examiner, flaw, and read_on if known."),
    ],
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Take in what several examiners saw at the same sections; used for their agreement only.

    The flaw to learn from stays the one of the section table. The first reading of an
    examiner at a section stays.
    """
    from seamtell.pipeline.commands.ingest import print_report
    from seamtell.pipeline.store.readings import add_readings
    from seamtell.pipeline.workspace import find_workspace

    report = add_readings(find_workspace(explicit=workspace), file)
    if as_json:
        console.print_json(report.as_document())
    else:
        print_report(report, "readings")
        if not report.has_rejections:
            console.next_step("seamtell evaluate MODEL")
    if report.has_rejections:
        raise typer.Exit(console.ExitCode.DONE_WITH_REJECTIONS)

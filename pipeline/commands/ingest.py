"""``seamtell ingest``, ``profile``, ``rejected`` and ``conflict``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, ProfileName, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.ingest.profile_check import ProfileCheck
    from seamtell.pipeline.ingest.report import IngestReport
    from seamtell.pipeline.store.rejected import RejectedRow
    from seamtell.pipeline.workspace import Workspace

__all__ = ["print_report", "register"]

_LISTED = 20


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(ingest)
    profile = typer.Typer(no_args_is_help=True, help="Input profiles: how a shop's trace files are laid out.")
    profile.command("check")(profile_check)
    profile.command("guess")(profile_guess)
    app.add_typer(profile, name="profile")
    app.command()(rejected)
    conflict = typer.Typer(no_args_is_help=True, help="Seams of which two different contents came in.")
    conflict.command("keep")(conflict_keep)
    # A group of one command would otherwise lose its name.
    conflict.callback()(_no_options)
    app.add_typer(conflict, name="conflict")


def _no_options() -> None:
    """Settle seams of which two different contents came in."""


def ingest(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH...", help="Files, folders or globs.")],
    profile: ProfileName = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Take trace files (CSV or Parquet) into the store; bad ones are kept aside and listed."""
    from seamtell.pipeline.ingest.run import ingest as run
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    report = run(ws, paths, profile)
    if as_json:
        console.print_json(report.as_document())
    else:
        console.say(_read_line(report))
        print_report(report, "seams")
        if not report.has_rejections:
            console.next_step("seamtell sections add FILE, or seamtell describe")
    _end(report)


def _read_line(report: IngestReport) -> str:
    files = f"{report.files} file{'' if report.files == 1 else 's'}"
    line = f"Read {files} with input profile '{report.profile}'"
    if report.contract_files:
        line += f"; Parquet in the contract layout, read so: {report.contract_files}"
    return f"{line}."


def print_report(report: IngestReport, things: str) -> None:
    """Print what an ingest did, what looks odd, and what was rejected."""
    from seamtell.pipeline.ingest.reasons import WARNINGS

    console.print_table(
        ["", things],
        [
            ["added", report.added],
            ["unchanged", report.unchanged],
            ["in conflict", report.conflicts],
            ["rejected", report.rejected],
            ["earlier rejections settled", report.resolved],
        ],
        right=[things],
    )
    for note in report.notes:
        text = f"{note.code.replace('_', ' ')}: {note.seams} seams, first {note.example}"
        if note.code in WARNINGS:
            console.warn(text)
        else:
            console.say(f"note: {text}")
    for row in report.rows[:_LISTED]:
        console.warn(_line(row))
    if len(report.rows) > _LISTED:
        console.warn(f"and {len(report.rows) - _LISTED} more")
    if report.has_rejections:
        console.next_step("seamtell rejected")


def _line(row: RejectedRow) -> str:
    place = f"{row.source}, row {row.row}" if row.row else row.source
    subject = f" ({row.section_id or row.seam_id})" if row.section_id or row.seam_id else ""
    return f"{place}{subject}: {row.reason}: {row.message}. To do: {row.do}"


def _end(report: IngestReport) -> None:
    if report.has_rejections:
        raise typer.Exit(console.ExitCode.DONE_WITH_REJECTIONS)


def profile_check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A trace file.")],
    profile: ProfileName = None,
    workspace: WorkspaceDir = None,
) -> None:
    """Show what a profile reads from the first lines of a file, and why it fails; changes nothing."""
    from seamtell.pipeline.ingest.profile_check import check_profile
    from seamtell.pipeline.ingest.profile_choice import choose_profile
    from seamtell.pipeline.limits_file import read_limits
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    chosen = choose_profile(ws, profile)
    own = chosen.for_file(file)
    checks = check_profile(file, own, read_limits(ws.limits_path))
    name = f"input profile '{chosen.name}'" if own is chosen.profile else "the contract layout"
    console.say(f"{file} with {name}")
    console.say()
    for check in checks:
        _print_check(check)
    follow = f" --profile {profile}" if profile else ""
    failed = any(check.problem is not None for check in checks)
    if failed:
        console.next_step(f"mend the profile or the file, then: seamtell profile check {file}{follow}")
        raise typer.Exit(console.ExitCode.BAD_INPUT)
    console.next_step(f"seamtell ingest {file.parent}{follow}")


def _print_check(check: ProfileCheck) -> None:
    if check.columns:
        console.say(f"columns: {', '.join(check.columns)}")
    if check.header:
        console.say("header:  " + "; ".join(f"{key} = {value}" for key, value in check.header))
    if check.columns or check.header:
        console.say()
    facts = [*check.metadata.items(), *((f"{key} (further)", value) for key, value in check.extra.items())]
    if facts:
        console.print_table(["metadata", "value"], facts)
    if check.samples:
        names = list(check.channels)
        if len(check.samples[0]) > len(names):
            names.insert(0, "position_mm" if check.trace is not None else "position (as in the file)")
        rows = [[f"{value:.6g}" for value in sample] for sample in check.samples]
        console.print_table(names, rows, right=names)
    for note in check.notes:
        console.warn(f"{note.code}: {note.message}")
    if check.trace is not None:
        trace = check.trace
        console.say(
            f"seam '{trace.seam_id}': {trace.n_samples} samples from {trace.start_mm:g} "
            f"to {trace.end_mm:g} mm, every {trace.pitch_mm:g} mm, welded {trace.welded_at.isoformat()}"
        )
        console.say()
    if check.problem is not None:
        row = f"line or row {check.problem.row}: " if check.problem.row else ""
        console.error(f"{row}{check.problem.code}: {check.problem.message}. To do: {check.problem.do}")


def profile_guess(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A trace file.")],
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write; default: print it.")] = None,
) -> None:
    """Write a first profile from what one file shows, with a comment at what it could not infer."""
    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.files.atomic import write_bytes_atomically
    from seamtell.pipeline.ingest.profile_guess import guess_profile

    guessed = guess_profile(file)
    if out is None:
        print(guessed.text, end="")
        return
    if out.exists():
        raise BadInput("would be overwritten", where=str(out), do="choose another name")
    write_bytes_atomically(out, guessed.text.encode("utf-8"))
    console.say(f"Profile written to {out}")
    for point in guessed.open_points:
        console.warn(f"check {point}")
    console.next_step(f"seamtell profile check {file} --profile {out}")


def rejected(
    workspace: WorkspaceDir = None,
    everything: Annotated[bool, typer.Option("--all", help="Also what is resolved.")] = False,
    as_json: AsJson = False,
) -> None:
    """List rejected input: file, row, reason and what to do; the bytes are in rejected/files."""
    from dataclasses import asdict

    from seamtell.pipeline.store.rejected import read_rejected
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    rows = [row for row in read_rejected(ws.rejected_dir) if everything or row.is_open]
    if as_json:
        console.print_json([asdict(row) for row in rows])
        return
    if not rows:
        console.say("Nothing is rejected." if everything else "Nothing is open.")
        return
    columns = ["file", "row", "seam or section", "reason", "what is wrong", "what to do", "bytes"]
    if everything:
        columns.append("status")
    console.print_table(columns, (_cells(ws, row, everything) for row in rows), right=["row"])
    console.next_step("mend the files and ingest them again, or settle conflicts: seamtell conflict keep")


def _cells(ws: Workspace, row: RejectedRow, everything: bool) -> list[object]:
    source = Path(row.source)
    shown = source.relative_to(ws.root) if source.is_relative_to(ws.root) else source
    subject = row.section_id or row.seam_id
    cells: list[object] = [shown, row.row or "", subject, row.reason, row.message, row.do, row.sha256[:12]]
    return (
        [*cells, f"{row.status}: {row.resolution}" if row.resolution else row.status] if everything else cells
    )


def conflict_keep(
    seam_id: Annotated[str, typer.Argument(metavar="SEAM_ID")],
    which: Annotated[str, typer.Argument(metavar="stored|incoming", help="Which content holds.")],
    content: Annotated[str, typer.Option("--content", help="First digits of the incoming content.")] = "",
    workspace: WorkspaceDir = None,
) -> None:
    """Say which of two contents of a seam holds; the other stays in rejected/, nothing is lost."""
    from seamtell.pipeline.store.conflicts import Keep, keep_conflict
    from seamtell.pipeline.workspace import find_workspace

    if which not in list(Keep):
        raise typer.BadParameter("say stored or incoming", param_hint="stored|incoming")
    settled = keep_conflict(find_workspace(explicit=workspace), seam_id, Keep(which), content)
    console.say(f"Seam '{seam_id}': the {settled.kept} content holds ({settled.content_sha256[:12]}).")
    console.next_step("seamtell rejected")

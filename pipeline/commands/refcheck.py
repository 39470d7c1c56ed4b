"""``seamtell refcheck``: the reference blank against what is expected of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, BlankFile, BlankRuns, ProfileName, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.health.check_record import CheckEntry
    from seamtell.pipeline.health.refcheck import RefcheckResult
    from seamtell.pipeline.health.suspects import Suspects
    from seamtell.pipeline.health.trend import Trend

__all__ = ["register"]

_SHOWN_SUSPECTS = 5


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("refcheck")(_refcheck)


def _refcheck(
    blank: BlankFile,
    traces: BlankRuns,
    line: Annotated[str, typer.Option("--line", help="Line that was checked.")],
    head: Annotated[str, typer.Option("--head", help="Serial number of the head, if any.")] = "",
    measure: Annotated[
        bool, typer.Option("--measure", help="Print what these good runs give, for the file; record nothing.")
    ] = False,
    profile: ProfileName = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Check a line against its reference blank; on stop, labels are suspended until a good check."""
    from datetime import UTC, datetime

    from seamtell.pipeline.health.check_record import read_checks
    from seamtell.pipeline.health.flaw_return import Level
    from seamtell.pipeline.health.refcheck import measured_lines, refcheck
    from seamtell.pipeline.health.trend import trends
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    if measure:
        _print_measured(measured_lines(ws, blank, traces, line, profile=profile), as_json)
        return
    result = refcheck(ws, blank, traces, line, head=head, profile=profile, now=datetime.now(UTC))
    own = [trend for trend in trends(read_checks(ws)) if trend.line == line]
    if as_json:
        console.print_json(_document(result, own))
    else:
        _print(result, own)
    if result.level is Level.STOP:
        raise typer.Exit(console.ExitCode.REFUSED)


def _print_measured(lines: tuple[tuple[str, str], ...], as_json: bool) -> None:
    if as_json:
        console.print_json([{"flaw": name, "line": text} for name, text in lines])
        return
    for name, text in lines:
        console.say(f"# {name}")
        console.say(text)
    console.next_step("write each line into the [[flaw]] table of the same name, then run refcheck")


def _document(result: RefcheckResult, own: list[Trend]) -> dict[str, object]:
    suspects = result.suspects
    return {
        "level": result.level.text,
        "checks": [check.model_dump(mode="json") for check in result.checks],
        "suspects": None
        if suspects is None
        else {
            "csv": str(suspects.path),
            "since": suspects.since and suspects.since.isoformat(),
            "until": suspects.until and suspects.until.isoformat(),
            "count": len(suspects.seam_ids),
            "seam_ids": list(suspects.seam_ids),
        },
        "trends": [trend.as_document() for trend in own],
        "caution": console.CAUTION,
    }


def _print(result: RefcheckResult, own: list[Trend]) -> None:
    last = result.checks[-1]
    console.say(_answer(last))
    console.say()
    for check in result.checks:
        _print_check(check)
    for trend in own:
        console.say(trend.sentence)
    if result.suspects is not None:
        _print_suspects(result.suspects, last)
    console.caution()
    if last.level.text == "stop":
        console.next_step(
            f"mend the cause, run the blank again, then seamtell refcheck ... --line {last.line}; inspect "
            "the suspect seams again"
        )
    else:
        console.next_step("seamtell classify")


def _answer(last: CheckEntry) -> str:
    bad = sum(flaw.level == last.level for flaw in last.flaws)
    state = {
        "good": f"within {last.warn_db:g} dB: all {len(last.flaws)} machined flaws came back as expected",
        "warn": f"warns: {bad} of {len(last.flaws)} machined flaws are beyond {last.warn_db:g} dB",
        "stop": f"stops: {bad} of {len(last.flaws)} machined flaws are missing, out of place, "
        f"or beyond {last.stop_db:g} dB",
    }
    return f"The reference check of line {last.line} {state[last.level.text]}."


def _print_check(check: CheckEntry) -> None:
    rows = [
        (
            flaw.name,
            "missing" if flaw.offset_mm is None else f"{flaw.offset_mm:+.1f}",
            *(f"{value:+.1f}" for _, value in sorted(flaw.deviation_db.items(), reverse=True)),
            flaw.level.text,
        )
        for flaw in check.flaws
    ]
    columns = ("flaw", "offset, mm", "specular, dB", "scatter, dB", "level")
    title = f"Run {check.run_id}, {check.run_at:%Y-%m-%d %H:%M} UTC, blank {check.blank}"
    console.print_table(columns, rows, title=title, right=columns[1:4])


def _print_suspects(suspects: Suspects, last: CheckEntry) -> None:
    first = suspects.since
    since = "there is no good check" if first is None else f"since {first:%Y-%m-%d %H:%M} UTC"
    console.warn(
        f"{len(suspects.seam_ids)} seams of line {last.line} are suspect ({since}): nobody knows that a flaw "
        "in them would have shown. Their labels are suspended; the limit rule still rejects"
    )
    shown = ", ".join(suspects.seam_ids[:_SHOWN_SUSPECTS])
    more = len(suspects.seam_ids) - _SHOWN_SUSPECTS
    if shown:
        console.say(f"Suspect: {shown}{f' and {more} more' if more > 0 else ''}")
    console.say(f"Listed in {suspects.path}")

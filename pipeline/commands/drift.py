"""``seamtell drift``: whether production still looks as it did."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.health.drift import DriftResult
    from seamtell.pipeline.health.drift_state import Alarm, DriftLevel, DriftState

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("drift")(_drift)


def _drift(
    restart: Annotated[
        bool, typer.Option("--restart", help="Begin anew from the newest block: new reference, labels again.")
    ] = False,
    line: Annotated[str | None, typer.Option("--line", help="With --restart: only this line.")] = None,
    by: Annotated[str, typer.Option("--by", help="With --restart: who decides so.")] = "",
    reason: Annotated[str, typer.Option("--reason", help="With --restart: why.")] = "",
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Judge new production against the first blocks of its line, with a stated rate of false alarms."""
    from datetime import UTC, datetime

    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.health.drift import drift, restart_drift
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    now = datetime.now(UTC)
    if restart:
        _print_restarted(restart_drift(ws, by=by, reason=reason, line=line, now=now), as_json)
        return
    if line is not None or by or reason:
        raise BadInput(
            "got --line, --by or --reason without --restart",
            where="drift",
            do="say --restart as well, or leave them out",
        )
    result = drift(ws, now=now)
    if as_json:
        console.print_json(_document(result))
        return
    _print(result)


def _document(result: DriftResult) -> dict[str, Any]:
    budget = result.budget
    return {
        "budget": {
            "streams": budget.streams,
            "reference_blocks": budget.reference_blocks,
            "note_blocks": budget.note,
            "review_blocks": budget.review,
            "suspend_blocks": budget.suspend,
        },
        "without_model": result.without_model,
        "lines": {
            name: {
                "level": own.level.text,
                "blocks": len(own.blocks),
                "new_blocks": result.new_blocks[name],
                "from_day": own.from_day,
                "until_day": own.next_day,
                "alarms": [_alarm(alarm) for alarm in own.alarms],
                "new_alarms": [_alarm(alarm) for alarm in result.new_alarms[name]],
            }
            for name, own in sorted(result.state.lines.items())
        },
        "caution": console.CAUTION,
    }


def _alarm(alarm: Alarm) -> dict[str, Any]:
    return {**alarm.model_dump(mode="json"), "level": alarm.level.text}


def _print(result: DriftResult) -> None:
    lines, budget = result.state.lines, result.budget
    worst = max((own.level for own in lines.values()), default=None)
    console.say(_answer(result, worst))
    console.say()
    rows = [
        (
            name, str(len(own.blocks)), f"+{result.new_blocks[name]}", str(own.from_day), str(own.next_day),
            own.level.text if len(own.blocks) > budget.reference_blocks else "gathering reference",
        )
        for name, own in sorted(lines.items())
    ]  # fmt: skip
    console.print_table(
        ("line", "blocks", "new", "from", "until before", "level"), rows, right=("blocks", "new")
    )
    alarms = [(name, alarm) for name, own in sorted(lines.items()) for alarm in own.alarms]
    if alarms:
        cells = [
            (name, alarm.stream.value, alarm.level.text, f"{alarm.since} to before {alarm.until}",
             "up" if alarm.upward else "down", alarm.descriptor)
            for name, alarm in alarms
        ]  # fmt: skip
        console.print_table(("line", "stream", "level", "reached in", "direction", "descriptor"), cells)
    console.say(
        f"By chance alone, over all {budget.streams} streams together, a note comes at most once in "
        f"{budget.note:g} blocks on average, a review in {budget.review:g}, "
        f"a suspension in {budget.suspend:g}."
    )
    if result.without_model:
        console.warn(f"novelty and abstention are not watched: {result.without_model}")
    for name, own in sorted(lines.items()):
        if own.level.text == "suspend":
            console.warn(f"labels of line {name} are suspended; the limit rule decides alone")
    console.caution()
    console.next_step(_next(worst))


def _answer(result: DriftResult, worst: DriftLevel | None) -> str:
    lines = result.state.lines
    at_worst = ", ".join(name for name, own in sorted(lines.items()) if own.level == worst)
    sentences = {
        "note": f"Something moves on line {at_worst}: noted, nothing else happens.",
        "review": f"Line {at_worst} has drifted: a person should look into it; labels go on.",
        "suspend": f"Line {at_worst} has drifted so far that its labels are suspended.",
    }
    if worst is not None and worst.text in sentences:
        return sentences[worst.text]
    judged = sum(len(own.blocks) > result.budget.reference_blocks for own in lines.values())
    if judged == 0:
        return "No line has more blocks than its reference needs: nothing can be judged yet."
    return f"No drift is seen on the {judged} of {len(lines)} lines that can be judged."


def _next(worst: DriftLevel | None) -> str:
    if worst is not None and worst.text == "suspend":
        return "mend the cause, then seamtell drift --restart --line LINE --by NAME --reason TEXT"
    if worst is not None and worst.text == "review":
        return "seamtell show SEAM on seams of the days named; seamtell refcheck"
    return "seamtell drift again when more seams are ingested"


def _print_restarted(state: DriftState, as_json: bool) -> None:
    if as_json:
        console.print_json({name: str(own.from_day) for name, own in sorted(state.lines.items())})
        return
    rows = [(name, str(own.from_day), own.level.text) for name, own in sorted(state.lines.items())]
    console.print_table(("line", "from", "level"), rows, title="The sequence goes on from")
    console.caution()
    console.next_step("seamtell drift")

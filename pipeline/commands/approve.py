"""``seamtell approve``, ``seamtell log`` and ``seamtell criteria check``: the sign-off."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seamtell.pipeline.approve import ApprovalResult
    from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome

__all__ = ["register"]

ModelId = Annotated[str, typer.Argument(metavar="MODEL", help="Model to approve, for example m-0001.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who approves.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("approve")(_approve)
    app.command("log")(_log)
    criteria = typer.Typer(
        help="What a model must meet before approval.", no_args_is_help=True, rich_markup_mode=None
    )
    criteria.callback()(_criteria)
    criteria.command("check")(_criteria_check)
    app.add_typer(criteria, name="criteria")


def _approve(
    model: ModelId, by: By, reason: Reason, workspace: WorkspaceDir = None, as_json: AsJson = False
) -> None:
    """Approve a model for production if its evaluation meets every criterion; the log keeps it."""
    from datetime import UTC, datetime

    from seamtell.pipeline.approve import ApprovalRefused, approve
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    try:
        result = approve(ws, model, by=by, reason=reason, now=datetime.now(UTC))
    except ApprovalRefused as refused:
        if as_json:
            console.print_json(
                {"approved": False, "model_id": model, "criteria": _documents(refused.outcomes)}
            )
        else:
            _print_outcomes(refused.outcomes)
        raise
    if as_json:
        console.print_json(_approval_document(result))
    else:
        _print_approval(result)
    if not result.tracked:
        console.warn(
            "the model registry did not take the alias; the log is signed and the approval holds. "
            "To do: run 'seamtell track push' when the server is back"
        )
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)


def _log(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Show who approved what and why, after verifying the chain of the log."""
    from seamtell.pipeline.sign_off.approval_log import model_states, read_log
    from seamtell.pipeline.workspace import find_workspace

    entries = read_log(find_workspace(explicit=workspace))
    if as_json:
        console.print_json([entry.model_dump(mode="json") for entry in entries])
        return
    if not entries:
        console.say("Nothing was approved yet: the limit rule alone decides.")
        console.next_step("seamtell approve MODEL --by NAME --reason TEXT")
        return
    states = model_states(entries)
    console.print_table(
        ("no.", "time (UTC)", "action", "model", "state now", "by", "reason", "digest"),
        [
            (
                entry.seq,
                f"{entry.time:%Y-%m-%d %H:%M}",
                entry.action.value,
                entry.model_id,
                states[entry.model_id].value,
                entry.by,
                entry.reason,
                entry.digest[:12],
            )
            for entry in entries
        ],
        right=("no.",),
    )
    console.say(f"The chain of {len(entries)} entries holds. Its head: {entries[-1].digest}")
    console.say("A chain cannot show that its end was cut off: keep the head elsewhere if that matters.")


def _criteria() -> None:
    """What a model must meet before approval."""


def _criteria_check(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Read criteria.toml and say each criterion in a sentence."""
    from seamtell.pipeline.sign_off.criteria import explain, read_criteria
    from seamtell.pipeline.workspace import find_workspace

    criteria, digest = read_criteria(find_workspace(explicit=workspace).criteria_path)
    if as_json:
        sentences = [{"id": one.id, "sentence": explain(one)} for one in criteria.criterion]
        console.print_json({"digest": digest, "criteria": sentences})
        return
    for criterion in criteria.criterion:
        console.say(explain(criterion))
    console.say()
    console.say("A figure that the sections cannot give is unknown, and unknown never passes.")


def _print_approval(result: ApprovalResult) -> None:
    _print_outcomes(result.outcomes)
    entry = result.entry
    console.say(
        f"Approved: {entry.model_id} by {entry.by}, entry {entry.seq} of the log, {entry.digest[:12]}."
    )
    if result.superseded:
        console.say(f"Superseded: {result.superseded}.")
    console.caution()
    console.next_step("seamtell classify")


def _print_outcomes(outcomes: Sequence[CriterionOutcome]) -> None:
    console.print_table(
        ("criterion", "of", "figure", "looked at", "bound", "result"),
        [
            (
                one.criterion.id,
                one.label or "all",
                _figure(one),
                one.criterion.interval.value,
                f"{one.sign} {one.criterion.bound:g}",
                "pass" if one.passed else "FAIL",
            )
            for one in outcomes
        ],
        title="Criteria",
    )


def _figure(outcome: CriterionOutcome) -> str:
    if outcome.figure.method == "counted":
        return f"n = {outcome.figure.n}"
    return str(outcome.figure)


def _documents(outcomes: Sequence[CriterionOutcome]) -> list[dict[str, object]]:
    return [
        {
            "id": one.criterion.id,
            "label": one.label,
            "figure": one.figure.model_dump(mode="json"),
            "value": one.value,
            "bound": one.criterion.bound,
            "passed": one.passed,
        }
        for one in outcomes
    ]


def _approval_document(result: ApprovalResult) -> dict[str, object]:
    return {
        "approved": True,
        "model_id": result.entry.model_id,
        "entry": result.entry.model_dump(mode="json"),
        "criteria": _documents(result.outcomes),
        "superseded": result.superseded,
        "tracked": result.tracked,
    }

"""``seamtell approve`` and ``seamtell log``: the sign-off."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir
from seamtell.pipeline.commands.signing import EarlierClock, KeyFile, PassphraseFile, signer_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seamtell.pipeline.approve import ApprovalResult, DeviationRequest
    from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome
    from seamtell.pipeline.workspace import Workspace

__all__ = ["register"]

ModelId = Annotated[str, typer.Argument(metavar="MODEL", help="Model to approve, for example m-0001.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who approves.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")]
AsDeviation = Annotated[
    bool,
    typer.Option("--deviation", help="Approve although criteria fail, for a time, with a reason why."),
]
Justification = Annotated[
    str, typer.Option("--justification", metavar="TEXT", help="With --deviation: why it is fit all the same.")
]
Expires = Annotated[
    datetime | None,
    typer.Option("--expires", formats=["%Y-%m-%d"], help="With --deviation: its last day (UTC)."),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("approve")(_approve)
    app.command("log")(_log)


def _approve(
    model: ModelId,
    by: By,
    reason: Reason,
    deviation: AsDeviation = False,
    justification: Justification = "",
    expires: Expires = None,
    key: KeyFile = None,
    passphrase_file: PassphraseFile = None,
    earlier_clock: EarlierClock = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Approve a model for production if its evaluation meets every criterion; the log keeps it."""
    from seamtell.pipeline.approve import ApprovalRefused, approve
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    request = _deviation(deviation, justification, expires)
    _warn_of_the_too_good(ws, model)
    try:
        result = approve(
            ws,
            model,
            by=by,
            reason=reason,
            now=datetime.now(UTC),
            deviation=request,
            signer=signer_of(key, passphrase_file),
            earlier_clock=earlier_clock,
        )
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


def _warn_of_the_too_good(ws: Workspace, model: str) -> None:
    """Whoever signs must have seen what looks too good; whether it bars the approval, the criteria say."""
    from seamtell.pipeline.evaluation.files import ACCEPTANCE_FILE, read_acceptance

    folder = ws.reports_dir / model
    if (folder / ACCEPTANCE_FILE).is_file():
        for warning in read_acceptance(folder).warnings:
            console.warn(warning)


def _deviation(wanted: bool, justification: str, expires: datetime | None) -> DeviationRequest | None:
    from seamtell.pipeline.approve import DeviationRequest
    from seamtell.pipeline.errors import BadInput

    if not wanted:
        if justification or expires is not None:
            raise BadInput(
                "got a justification or an expiry without --deviation",
                where="--deviation",
                do="say --deviation too, or leave them",
            )
        return None
    if expires is None:
        raise BadInput("a deviation needs its last day", where="--expires", do="say --expires YYYY-MM-DD")
    return DeviationRequest(justification, expires.date())


def _log(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Show who approved, withdrew or reinstated what and why, after verifying the chain of the log."""
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
        ("no.", "time (UTC)", "action", "model", "state now", "by", "reason", "signed", "digest"),
        [
            (
                entry.seq,
                f"{entry.time:%Y-%m-%d %H:%M}",
                f"{entry.action}, deviation" if entry.deviation else entry.action.value,
                entry.model_id,
                states[entry.model_id].value,
                entry.by,
                entry.reason,
                "yes" if entry.signature else "no",
                entry.digest[:12],
            )
            for entry in entries
        ],
        right=("no.",),
    )
    for entry in entries:
        if entry.deviation:
            console.say(f"Entry {entry.seq}: {entry.model_id} {entry.deviation.sentence}.")
    console.say(f"The chain of {len(entries)} entries holds. Its head: {entries[-1].digest}")
    console.say("A chain cannot show that its end was cut off: keep 'seamtell anchor' elsewhere for that.")


def _print_approval(result: ApprovalResult) -> None:
    _print_outcomes(result.outcomes)
    entry = result.entry
    console.say(
        f"Approved: {entry.model_id} by {entry.by}, entry {entry.seq} of the log, {entry.digest[:12]}."
    )
    if entry.deviation:
        console.warn(f"{entry.model_id} was {entry.deviation.sentence}")
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
                one.label or one.criterion.stratum or "all",
                _figure(one),
                one.criterion.interval.value,
                f"{one.sign} {one.criterion.bound:g}",
                _result(one),
            )
            for one in outcomes
        ],
        title="Criteria",
    )


def _result(outcome: CriterionOutcome) -> str:
    if not outcome.applies:
        return "n/a"
    return "pass" if outcome.passed else "FAIL"


def _figure(outcome: CriterionOutcome) -> str:
    if outcome.figure.method == "counted":
        return f"n = {outcome.figure.n}"
    return str(outcome.figure)


def _documents(outcomes: Sequence[CriterionOutcome]) -> list[dict[str, object]]:
    return [
        {
            "id": one.criterion.id,
            "label": one.label,
            "stratum": one.criterion.stratum,
            "applies": one.applies,
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

"""``seamtell withdraw`` and ``seamtell reinstate``: out of use, and back."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir
from seamtell.pipeline.commands.signing import EarlierClock, KeyFile, PassphraseFile, signer_of

__all__ = ["register"]

ModelId = Annotated[str, typer.Argument(metavar="MODEL", help="Model to take out of use, such as m-0002.")]
BackTo = Annotated[
    str, typer.Argument(metavar="[MODEL]", help="Superseded model; default: the one at work before.")
]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who decides.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("withdraw")(_withdraw)
    app.command("reinstate")(_reinstate)


def _withdraw(
    model: ModelId,
    by: By,
    reason: Reason,
    key: KeyFile = None,
    passphrase_file: PassphraseFile = None,
    earlier_clock: EarlierClock = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Take an approved or superseded model out of use; the limit rule then decides alone."""
    from seamtell.pipeline.withdraw import withdraw
    from seamtell.pipeline.workspace import find_workspace

    result = withdraw(
        find_workspace(explicit=workspace),
        model,
        by=by,
        reason=reason,
        now=datetime.now(UTC),
        signer=signer_of(key, passphrase_file),
        earlier_clock=earlier_clock,
    )
    if as_json:
        console.print_json(
            {
                "model_id": model,
                "entry": result.entry.model_dump(mode="json"),
                "was_at_work": result.was_at_work,
                "tracked": result.tracked,
            }
        )
    else:
        entry = result.entry
        console.say(f"Withdrawn: {model} by {entry.by}, entry {entry.seq} of the log, {entry.digest[:12]}.")
        if result.was_at_work:
            console.say("No model is approved now: the limit rule decides alone.")
        console.caution()
        if result.was_at_work:
            console.next_step("seamtell reinstate --by NAME --reason TEXT, if the model before is to return")
    _warn_untracked(result.tracked)


def _reinstate(
    by: By,
    reason: Reason,
    model: BackTo = "",
    key: KeyFile = None,
    passphrase_file: PassphraseFile = None,
    earlier_clock: EarlierClock = False,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Go back to the model that was approved before, on the approval that it had."""
    from seamtell.pipeline.reinstate import reinstate
    from seamtell.pipeline.workspace import find_workspace

    result = reinstate(
        find_workspace(explicit=workspace),
        model,
        by=by,
        reason=reason,
        now=datetime.now(UTC),
        signer=signer_of(key, passphrase_file),
        earlier_clock=earlier_clock,
    )
    entry = result.entry
    if as_json:
        console.print_json(
            {
                "model_id": entry.model_id,
                "entry": entry.model_dump(mode="json"),
                "superseded": result.superseded,
                "tracked": result.tracked,
            }
        )
    else:
        console.say(
            f"Reinstated: {entry.model_id} by {entry.by}, entry {entry.seq} of the log, {entry.digest[:12]}, "
            f"on the approval of entry {entry.restores}."
        )
        if entry.deviation:
            console.warn(f"{entry.model_id} was {entry.deviation.sentence}")
        if result.superseded:
            console.say(f"Superseded: {result.superseded}. Withdraw it if it must not come back.")
        console.caution()
        console.next_step("seamtell classify")
    _warn_untracked(result.tracked)


def _warn_untracked(tracked: bool) -> None:
    if not tracked:
        console.warn(
            "the model registry does not follow yet; the log is written and holds. "
            "To do: run 'seamtell track push' when the server is back"
        )
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)

"""The stage *withdraw*: a named person takes a model out of use."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.sign_off.approval_log import (
    LogEntry,
    ModelState,
    append_entry,
    check_person_text,
    read_log,
)
from seamtell.pipeline.sign_off.environment import environment, environment_digest
from seamtell.pipeline.sign_off.keys import Signer, check_may_sign
from seamtell.pipeline.sign_off.log_entry import Action, SignOff
from seamtell.pipeline.sign_off.states import standings
from seamtell.pipeline.tracking.runs import follow_log
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["WithdrawalResult", "copied_sign_off", "withdraw"]


@dataclass(frozen=True)
class WithdrawalResult:
    """What was withdrawn.

    Parameters
    ----------
    entry : LogEntry
    was_at_work : bool
        It was the approved model: from now on the limit rule decides alone.
    tracked : bool
        Whether the model registry follows; else ``seamtell track push`` mends it.
    """

    entry: LogEntry
    was_at_work: bool
    tracked: bool


def withdraw(
    ws: Workspace,
    model_id: str,
    *,
    by: str,
    reason: str,
    now: datetime,
    signer: Signer | None = None,
    earlier_clock: bool = False,
) -> WithdrawalResult:
    """Take a model out of use, for good unless it is approved anew.

    It asks for nothing but a whole log: neither the model folder nor the evidence has to be
    sound, and a signature is never required, since this is the safe direction.

    Parameters
    ----------
    by, reason : str
        Who withdraws and why; printable text.
    now : datetime
        Timezone-aware.
    signer : Signer, optional
    earlier_clock : bool
        An entry of the log has a later time because its clock was wrong.

    Raises
    ------
    BadInput
        The log does not name the model, or empty name or reason.
    Refused
        Already withdrawn, or the log cannot be trusted.
    WorkspaceBusy, StorageProblem
        Nothing was written.
    """
    by, reason = check_person_text(by, "--by"), check_person_text(reason, "--reason")
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        check_may_sign(ws, signer, required=False)
        standing = standings(read_log(ws)).get(model_id)
        if standing is None:
            raise BadInput(
                f"'{model_id}' was never approved, so there is nothing to withdraw",
                where=str(ws.log_path),
                do="see 'seamtell log'",
            )
        sign_off = copied_sign_off(standing.approval, Action.WITHDRAW, by=by, reason=reason, now=now)
        entry = append_entry(ws, sign_off.model_copy(update={"earlier_clock": earlier_clock}), signer)
    tracked = follow_log(ws, settings)
    return WithdrawalResult(entry, standing.state is ModelState.APPROVED, tracked)


def copied_sign_off(approval: LogEntry, action: Action, *, by: str, reason: str, now: datetime) -> SignOff:
    """A sign-off of `action` on all that an earlier approval rests on."""
    versions = environment()
    fields = {name: getattr(approval, name) for name in SignOff.model_fields}
    return SignOff(
        **{
            **fields,
            "action": action,
            "time": now.astimezone(UTC),
            "by": by,
            "reason": reason,
            "software_version": software_version(),
            "environment": versions,
            "environment_digest": environment_digest(versions),
            "restores": None,
        }
    )

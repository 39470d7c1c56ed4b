"""The stage *reinstate*: a named person rolls back to the model that was approved before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.sign_off.approval_log import (
    ApprovedModel,
    LogEntry,
    append_entry,
    approved_model,
    check_person_text,
    read_log,
)
from seamtell.pipeline.sign_off.keys import Signer, check_may_sign
from seamtell.pipeline.sign_off.log_entry import Action
from seamtell.pipeline.sign_off.proof import doubt_of_approval
from seamtell.pipeline.sign_off.states import Standing, check_move, previous_approved, standings
from seamtell.pipeline.tracking.runs import follow_log
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.withdraw import copied_sign_off
from seamtell.pipeline.workspace import Workspace

__all__ = ["ReinstatementResult", "reinstate"]


@dataclass(frozen=True)
class ReinstatementResult:
    """What was brought back.

    Parameters
    ----------
    entry : LogEntry
    superseded : str
        The model that was at work until now; empty when there was none.
    tracked : bool
        Whether the model registry follows; else ``seamtell track push`` mends it.
    """

    entry: LogEntry
    superseded: str
    tracked: bool


def reinstate(
    ws: Workspace,
    model_id: str = "",
    *,
    by: str,
    reason: str,
    now: datetime,
    signer: Signer | None = None,
    earlier_clock: bool = False,
) -> ReinstatementResult:
    """Put a superseded model to work again, on the approval that it had.

    The criteria are not asked again, but that approval must still be proved: the very model,
    the same limits and settings, the signed copies whole, a deviation not over.

    Parameters
    ----------
    model_id : str
        A superseded model; empty for the one that was at work before.
    by, reason : str
        Who reinstates and why; printable text.
    now : datetime
        Timezone-aware.
    signer : Signer, optional
    earlier_clock : bool
        An entry of the log has a later time because its clock was wrong.

    Raises
    ------
    BadInput
        No such model, or empty name or reason.
    Refused
        There is none to go back to, its approval is no longer proved, the model or the log cannot
        be trusted, or a signature is asked for.
    WorkspaceBusy, StorageProblem
        Nothing was written.
    """
    by, reason = check_person_text(by, "--by"), check_person_text(reason, "--reason")
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        check_may_sign(ws, signer, required=settings.sign_off.require_signature)
        before = approved_model(ws)
        entries = read_log(ws)
        standing = _chosen(ws, entries, model_id)
        _check_proved(ws, standing.approval, entries[-1], settings, now)
        sign_off = copied_sign_off(standing.approval, Action.REINSTATE, by=by, reason=reason, now=now)
        update = {"earlier_clock": earlier_clock, "restores": standing.approval.seq}
        entry = append_entry(ws, sign_off.model_copy(update=update), signer)
    tracked = follow_log(ws, settings)
    return ReinstatementResult(entry, before.model_id if before else "", tracked)


def _chosen(ws: Workspace, entries: tuple[LogEntry, ...], model_id: str) -> Standing:
    if not model_id:
        previous = previous_approved(entries)
        if previous is None:
            raise Refused(
                "there is no superseded model to go back to",
                where=str(ws.log_path),
                do="approve a model, or let the limit rule decide alone",
            )
        return previous
    standing = standings(entries).get(model_id)
    if standing is None:
        raise BadInput(f"'{model_id}' was never approved", where=str(ws.log_path), do="see 'seamtell log'")
    check_move(Action.REINSTATE, model_id, standing.state)
    return standing


def _check_proved(
    ws: Workspace, approval: LogEntry, head: LogEntry, settings: Settings, now: datetime
) -> None:
    if approval.schema_version == 1:
        raise Refused(
            "approved by an older seamtell, which kept no copy of the evidence",
            where=f"entry {approval.seq}",
            do=f"run 'seamtell evaluate {approval.model_id}' and approve it anew",
        )
    _, digest = load_verified_model(ws, approval.model_id)
    if digest != approval.model_digest:
        raise Refused(
            "not the model that was approved, its digest differs",
            where=str(ws.models_dir / approval.model_id),
            do="restore the model folder from a copy",
        )
    known = ApprovedModel(approval.model_id, digest, approval.by, approval.time, approval, head)
    doubt = doubt_of_approval(ws, known, settings, read_limits(ws.limits_path).digest, now)
    if doubt is not None:
        raise Refused(f"its approval no longer holds: {doubt.explanation}", where=f"entry {approval.seq}")

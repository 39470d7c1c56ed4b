"""The stage *approve*: a named person signs that a model may label production."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluation.files import EVALUATION_FILE, read_evaluation
from seamtell.pipeline.evaluation.present import check_present
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.labelled import section_table_bytes
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.sign_off.approval_log import (
    Action,
    LogEntry,
    SignOff,
    append_entry,
    approved_model,
    check_person_text,
)
from seamtell.pipeline.sign_off.criteria import read_criteria
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome, apply_criteria
from seamtell.pipeline.sign_off.environment import environment, environment_digest
from seamtell.pipeline.sign_off.evidence_copy import (
    SECTION_TABLE,
    keep_evidence,
    read_signed_acceptance,
    report_files,
    sha256_of,
)
from seamtell.pipeline.sign_off.keys import Signer, check_may_sign
from seamtell.pipeline.sign_off.log_entry import Deviation
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.tracking.runs import APPROVED, SUPERSEDED, set_alias
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["LONGEST_DEVIATION", "ApprovalRefused", "ApprovalResult", "DeviationRequest", "approve"]

LONGEST_DEVIATION = timedelta(days=366)
"""A deviation is for a time: none may run longer."""


@dataclass(frozen=True)
class DeviationRequest:
    """What a person says who approves a model against failed criteria.

    Parameters
    ----------
    justification : str
        Why the model is fit for use all the same; printable text.
    expires : date
        Last day (UTC) on which the approval holds.
    """

    justification: str
    expires: date


@dataclass(frozen=True)
class ApprovalResult:
    """What was signed.

    Parameters
    ----------
    entry : LogEntry
        As it stands in the log.
    outcomes : tuple of CriterionOutcome
    superseded : str
        The model that was approved before; empty when there was none or it is the same.
    tracked : bool
        Whether the model registry has the alias; else it waits in the outbox.
    """

    entry: LogEntry
    outcomes: tuple[CriterionOutcome, ...]
    superseded: str
    tracked: bool


class ApprovalRefused(Refused):
    """At least one criterion failed.

    Parameters
    ----------
    outcomes : tuple of CriterionOutcome
        All of them.
    where : str
        The criteria file.
    """

    def __init__(self, outcomes: tuple[CriterionOutcome, ...], where: str) -> None:
        self.outcomes = outcomes
        failed = [one for one in outcomes if not one.passed]
        super().__init__(
            f"{len(failed)} of {len(outcomes)} criteria failed: {', '.join(_failed_ids(outcomes))}",
            where=where,
            do="add sections where the figures are weak or unknown, train and evaluate again",
        )


def approve(
    ws: Workspace,
    model_id: str,
    *,
    by: str,
    reason: str,
    now: datetime,
    deviation: DeviationRequest | None = None,
    signer: Signer | None = None,
    earlier_clock: bool = False,
) -> ApprovalResult:
    """Check the evidence and the criteria, keep a copy of both, sign the log, and move the registry alias.

    Parameters
    ----------
    by, reason : str
        Who signs and why; printable text.
    now : datetime
        Timezone-aware.
    deviation : DeviationRequest, optional
        Approve although criteria fail. It lifts nothing else: evidence that is out of date, or a
        model learnt from simulation alone, stays refused.
    signer : Signer, optional
        Key that signs the entry.
    earlier_clock : bool
        An entry of the log has a later time because its clock was wrong.

    Raises
    ------
    BadInput
        No such model, not evaluated yet, empty name or reason, or a deviation that is none.
    ApprovalRefused
        A criterion failed; holds all outcomes.
    Refused
        The model, the evaluation or the log cannot be trusted, the evaluation is out of date, or
        a signature is asked for.
    WorkspaceBusy, StorageProblem
        Nothing was signed.
    """
    by, reason = check_person_text(by, "--by"), check_person_text(reason, "--reason")
    if deviation is not None:
        deviation = _checked_deviation(deviation, now)
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        check_may_sign(ws, signer, required=settings.sign_off.require_signature)
        before = approved_model(ws)
        _, digest = load_verified_model(ws, model_id)
        evidence = _gather(ws, settings, model_id, digest)
        if not earlier_clock:
            _check_clock(evidence.result, now, _report(ws, model_id))
        criteria, criteria_digest = read_criteria(ws.criteria_path)
        outcomes = apply_criteria(
            criteria,
            evidence.result,
            evidence.acceptance,
            approved_model_id=before.model_id if before is not None else "",
        )
        accepted = _accepted_deviation(outcomes, deviation, str(ws.criteria_path))
        sign_off = _sign_off(ws, evidence, criteria_digest, by=by, reason=reason, now=now)
        said = {"deviation": accepted, "earlier_clock": earlier_clock}
        entry = append_entry(ws, sign_off.model_copy(update=said), signer)
    superseded = before.model_id if before is not None and before.model_id != model_id else ""
    tracked = set_alias(ws, settings, model_id, APPROVED, now=now)
    if superseded and (ws.models_dir / superseded).is_dir():
        tracked &= set_alias(ws, settings, superseded, SUPERSEDED, now=now)
    return ApprovalResult(entry, outcomes, superseded, tracked)


@dataclass(frozen=True)
class _Evidence:
    result: EvaluationResult
    acceptance: AcceptanceRecord | None
    files: dict[str, bytes]


def _check_clock(result: EvaluationResult, now: datetime, path: Path) -> None:
    if now < result.evaluated_at:
        raise Refused(
            f"the clock reads {now.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC, before the evaluation to sign",
            where=str(path),
            do="set the clock right; if the evaluation's clock was wrong, say --earlier-clock",
        )


def _sign_off(
    ws: Workspace, evidence: _Evidence, criteria_digest: str, *, by: str, reason: str, now: datetime
) -> SignOff:
    """The approval of what was evaluated, once a copy of all of it is kept."""
    result, versions = evidence.result, environment()
    return SignOff(
        action=Action.APPROVE,
        time=now.astimezone(UTC),
        by=by,
        reason=reason,
        model_id=result.model_id,
        model_digest=result.model_digest,
        sections_digest=result.sections_digest,
        limits_digest=result.limits_digest,
        criteria_digest=criteria_digest,
        evaluation_digest=sha256_of(evidence.files[EVALUATION_FILE]),
        software_version=software_version(),
        traces_digest=result.traces_digest,
        settings_digest=result.settings_digest,
        environment=versions,
        environment_digest=environment_digest(versions),
        evidence=_keep(ws, evidence, criteria_digest),
    )


def _gather(ws: Workspace, settings: Settings, model_id: str, digest: str) -> _Evidence:
    """The evaluation with the bytes of all that it rests on, read once and of the present state."""
    folder = ws.reports_dir / model_id
    result = read_evaluation(folder)
    files = report_files(folder)
    if EvaluationResult.model_validate_json(files[EVALUATION_FILE]) != result:
        raise Refused("the report is being written", where=str(folder), do="wait, then approve again")
    sections = read_sections(ws)
    if sections.empty:
        raise BadInput("the workspace has no sections", where=str(ws.root), do="restore them from a copy")
    check_present(ws, settings, result, model_id, digest, sections)
    acceptance = read_signed_acceptance(files, folder)
    files[SECTION_TABLE] = section_table_bytes(sections)
    for path in (ws.limits_path, ws.criteria_path, ws.settings_path):
        files[path.name] = path.read_bytes()
    return _Evidence(result, acceptance, files)


def _keep(ws: Workspace, evidence: _Evidence, criteria_digest: str) -> dict[str, str]:
    kept = keep_evidence(ws, evidence.files)
    pairs = (
        (ws.limits_path.name, evidence.result.limits_digest),
        (ws.criteria_path.name, criteria_digest),
        (SECTION_TABLE, evidence.result.sections_digest),
    )
    for name, digest in pairs:
        if kept[name] != digest:
            raise Refused(f"{name} is being written", where=str(ws.root), do="wait, then approve again")
    return kept


def _failed_ids(outcomes: tuple[CriterionOutcome, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.criterion.id for one in outcomes if not one.passed))


def _checked_deviation(request: DeviationRequest, now: datetime) -> DeviationRequest:
    today = now.astimezone(UTC).date()
    if not today < request.expires <= today + LONGEST_DEVIATION:
        raise BadInput(
            f"got {request.expires:%Y-%m-%d}, expected a day after today, "
            f"at most {LONGEST_DEVIATION.days} days ahead",
            where="--expires",
            do="say the last day on which the deviation holds",
        )
    return DeviationRequest(check_person_text(request.justification, "--justification"), request.expires)


def _accepted_deviation(
    outcomes: tuple[CriterionOutcome, ...], request: DeviationRequest | None, where: str
) -> Deviation | None:
    failed = _failed_ids(outcomes)
    if request is None:
        if failed:
            raise ApprovalRefused(outcomes, where)
        return None
    if not failed:
        raise BadInput(
            "every criterion passed, so there is nothing to deviate from",
            where="--deviation",
            do="approve without --deviation",
        )
    return Deviation(failed=failed, justification=request.justification, expires=request.expires)


def _report(ws: Workspace, model_id: str) -> Path:
    return ws.reports_dir / model_id / EVALUATION_FILE

"""The stage *approve*: a named person signs that a model may label production."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluate import evaluation_settings_digest
from seamtell.pipeline.evaluation.files import EVALUATION_FILE, evaluation_digest, read_evaluation
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.labelled import sections_digest, traces_digest
from seamtell.pipeline.limits_file import read_limits
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
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.tracking.runs import APPROVED, set_alias
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["ApprovalRefused", "ApprovalResult", "approve"]

SUPERSEDED = "superseded"
"""Alias of the model that was approved before."""


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
        names = ", ".join(dict.fromkeys(one.criterion.id for one in failed))
        super().__init__(
            f"{len(failed)} of {len(outcomes)} criteria failed: {names}",
            where=where,
            do="add sections where the figures are weak or unknown, train and evaluate again",
        )


def approve(ws: Workspace, model_id: str, *, by: str, reason: str, now: datetime) -> ApprovalResult:
    """Check the evidence and the criteria, sign the log, and move the registry alias.

    Parameters
    ----------
    by, reason : str
        Who signs and why; printable text.
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput
        No such model, not evaluated yet, or empty name or reason.
    ApprovalRefused
        A criterion failed; holds all outcomes.
    Refused
        The model, the evaluation or the log cannot be trusted, or the evaluation is out of date.
    WorkspaceBusy, StorageProblem
        Nothing was signed.
    """
    by, reason = check_person_text(by, "--by"), check_person_text(reason, "--reason")
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        before = approved_model(ws)
        _, digest = load_verified_model(ws, model_id)
        folder = ws.reports_dir / model_id
        result = read_evaluation(folder)
        _check_current(ws, settings, result, model_id, digest, folder)
        criteria, criteria_digest = read_criteria(ws.criteria_path)
        outcomes = apply_criteria(criteria, result)
        if not all(one.passed for one in outcomes):
            raise ApprovalRefused(outcomes, str(ws.criteria_path))
        entry = append_entry(
            ws,
            SignOff(
                action=Action.APPROVE,
                time=now.astimezone(UTC),
                by=by,
                reason=reason,
                model_id=model_id,
                model_digest=digest,
                sections_digest=result.sections_digest,
                limits_digest=result.limits_digest,
                criteria_digest=criteria_digest,
                evaluation_digest=evaluation_digest(folder),
                software_version=software_version(),
            ),
        )
    superseded = before.model_id if before is not None and before.model_id != model_id else ""
    tracked = set_alias(ws, settings, model_id, APPROVED, now=now)
    if superseded and (ws.models_dir / superseded).is_dir():
        tracked &= set_alias(ws, settings, superseded, SUPERSEDED, now=now)
    return ApprovalResult(entry, outcomes, superseded, tracked)


def _check_current(
    ws: Workspace, settings: Settings, result: EvaluationResult, model_id: str, digest: str, folder: Path
) -> None:
    """Refuse an evaluation of another model, or on data, limits or settings that changed since."""
    sections = read_sections(ws)
    if sections.empty:
        raise BadInput("the workspace has no sections", where=str(ws.root), do="restore them from a copy")
    seams = SeamStore(ws.traces_dir).metadata()
    seams = seams[seams["seam_id"].isin(frozenset(sections["seam_id"]))]
    pairs = (
        ("model", result.model_digest if result.model_id == model_id else "", digest),
        ("sections", result.sections_digest, sections_digest(sections)),
        ("traces of the sectioned seams", result.traces_digest, traces_digest(seams)),
        ("limits", result.limits_digest, read_limits(ws.limits_path).digest),
        ("settings", result.settings_digest, evaluation_settings_digest(settings)),
    )
    changed = [name for name, then, today in pairs if then != today]
    if changed:
        raise Refused(
            f"the evaluation is not of the present {' and '.join(changed)}",
            where=str(folder / EVALUATION_FILE),
            do=f"run 'seamtell evaluate {model_id}' again",
        )

"""Whether the approved state is still proved, as far as labelling production rests on it.

A model labels only while all of this holds, and else the limit rule decides alone:

- the log is whole, its last word on the model is an approval that has not run out, and it
  still holds the entry that the newest decisions in the workspace name as its last;
- that entry is signed by a trusted key, where the workspace asks for it;
- the signed copies of report, criteria, limits, settings and sections are as they were signed;
- the limits and the settings in use are those of the approval. They decide where indications
  are found and what their descriptors are measured against, so the figures that were signed
  say nothing about a model that works under others.

The section table and the stored traces may grow, and the report may be made again:
labelling reads none of them, and ``seamtell verify`` looks at them. Criteria may be
tightened for the next approval. The model's own digest is checked where it is loaded.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from seamtell.features.errors import SeamtellError
from seamtell.models.reasons import Reason
from seamtell.pipeline.settings import Settings, evaluation_settings_digest
from seamtell.pipeline.sign_off.approval_log import ApprovedModel, read_log
from seamtell.pipeline.sign_off.evidence_copy import altered_evidence
from seamtell.pipeline.sign_off.keys import check_signature, trusted_keys
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.sign_off.seen_heads import newest_record, unknown_head
from seamtell.pipeline.workspace import Workspace

__all__ = ["Doubt", "changed_basis", "doubt_of_approval"]


@dataclass(frozen=True)
class Doubt:
    """Why an approval does not hold: the reason that decisions carry, and the same for a person."""

    reason: Reason
    explanation: str


def doubt_of_approval(
    ws: Workspace, approved: ApprovedModel, settings: Settings, limits_digest: str, now: datetime
) -> Doubt | None:
    """The first thing that the approval needs and does not have; None when it holds.

    Parameters
    ----------
    approved : ApprovedModel
        As the verified log has it.
    settings : Settings
        In use.
    limits_digest : str
        Of the limit file in use.
    now : datetime
        Timezone-aware. A clock that stands before the last entry of the log is not believed.
    """
    entry = approved.approval
    cut = _cut_log(ws)
    if cut:
        return Doubt(Reason.NO_APPROVED_MODEL, cut)
    unsigned = _signature_problem(ws, entry, required=settings.sign_off.require_signature)
    if unsigned:
        return Doubt(Reason.NO_APPROVED_MODEL, unsigned)
    if entry.deviation is not None and max(now, approved.head.time) >= entry.deviation.ends_at:
        return Doubt(
            Reason.APPROVAL_EXPIRED,
            f"{entry.model_id} was {entry.deviation.sentence}. That time is over. "
            "To do: approve a model that meets the criteria, or decide on a new deviation",
        )
    changed = changed_basis(entry, settings, limits_digest)
    if changed:
        return Doubt(
            Reason.APPROVAL_BASIS_CHANGED,
            f"{entry.model_id} was approved under other {' and '.join(changed)}. To do: put them back, or "
            f"run 'seamtell evaluate {entry.model_id}' and approve it again",
        )
    altered = altered_evidence(ws, entry)
    return Doubt(Reason.APPROVAL_BASIS_CHANGED, altered) if altered else None


def changed_basis(entry: LogEntry, settings: Settings, limits_digest: str) -> tuple[str, ...]:
    """Which of limits and settings are not those that `entry` rests on."""
    pairs = [("limits", entry.limits_digest, limits_digest)]
    if entry.schema_version > 1:  # entries of schema 1 do not state their settings
        pairs.append(("settings", entry.settings_digest, evaluation_settings_digest(settings)))
    return tuple(name for name, then, today in pairs if then != today)


def _cut_log(ws: Workspace) -> str:
    try:
        return unknown_head(newest_record(ws), read_log(ws))
    except SeamtellError as problem:
        return str(problem)


def _signature_problem(ws: Workspace, entry: LogEntry, *, required: bool) -> str:
    if entry.signature is None:
        return (
            f"entry {entry.seq} of the log is not signed, and the workspace asks for signatures. "
            "To do: approve again with --key"
            if required
            else ""
        )
    try:
        check_signature(entry, trusted_keys(ws))
    except SeamtellError as problem:
        return str(problem)
    return ""

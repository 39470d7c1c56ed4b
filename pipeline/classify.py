"""The stage *classify*: label the indications of new seams, under the protection of the limit rule."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.features.errors import SeamtellError
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.files import (
    DecisionCounts,
    DecisionRecord,
    TrialRecord,
    decision_folder,
)
from seamtell.pipeline.decisions.seam_decision import Decider, SeamDecision
from seamtell.pipeline.decisions.trusted_model import TrustedModel, model_on_trial, trusted_model
from seamtell.pipeline.describe import BATCH_SEAMS, batches, indication_settings
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.sign_off.approval_log import log_head
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ClassifyResult", "classify"]


@dataclass(frozen=True)
class ClassifyResult:
    """What was decided.

    Parameters
    ----------
    folder : Path
        Holds the decision files.
    record : DecisionRecord
        What ``decision.json`` says, counts included.
    explanation : str
        Why the limit rule decided alone, and what to do; empty when a model labelled.
    conflicts : tuple of str
        Classified seams with two differing traces.
    seams_without_limits : mapping of str to int
        Seams rejected because the limit file does not name their recipe, by recipe.
    """

    # A trial run shows in the type of `record`: a `TrialRecord`.

    folder: Path
    record: DecisionRecord
    explanation: str
    conflicts: tuple[str, ...]
    seams_without_limits: dict[str, int]


def classify(
    ws: Workspace,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    seam_ids: Collection[str] | None = None,
    out: Path | None = None,
    trial: str | None = None,
    now: datetime,
) -> ClassifyResult:
    """Decide on the chosen seams and write the decision files.

    In a trial run an unapproved model labels; the verdicts are those of a run without
    any model, and the files are no decisions.

    Parameters
    ----------
    since, until : datetime, optional
        Timezone-aware; seams with ``since <= welded_at < until``.
    seam_ids : collection of str, optional
        Only these seams.
    out : Path, optional
        A new or empty folder; default: ``decisions/<UTC time>`` in the workspace, with
        ``-trial`` behind it for a trial run.
    trial : str, optional
        Model to try, approved or not.
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput
        No seam is chosen, `out` holds something, the limit file or settings cannot be read, or
        there is no model of the name `trial`.
    Refused
        The model on trial is not what training saved, or reads other descriptors.
    StorageProblem
        The files cannot be written.
    """
    settings = read_settings(ws.settings_path)
    limits = read_limits(ws.limits_path)
    store = SeamStore(ws.traces_dir)
    chosen = _chosen(store.metadata(), since, until, seam_ids)
    physics_only: bool | None = None
    if trial is None:
        trusted = trusted_model(ws, settings=settings, limits_digest=limits.digest, now=now)
    else:
        trusted, physics_only = model_on_trial(ws, trial)
    conflicts = store.conflicts()
    decider = Decider(
        limits,
        indication_settings(settings.describe),
        settings.review,
        trusted,
        conflicts,
        trial=trial is not None,
    )
    suffix = "" if trial is None else "-trial"
    folder = out or ws.decisions_dir / f"{now.astimezone(UTC):%Y%m%dT%H%M%SZ}{suffix}"
    tally = _Tally()
    with decision_folder(folder, trusted.digest, trial_of_physics_only=physics_only) as writer:
        for batch in batches(store.iter_traces(list(chosen["seam_id"])), BATCH_SEAMS):
            decisions = decider.decide(batch)
            writer.write(decisions)
            tally.add(decisions)
        record = _record(
            ws, trusted, limits.digest, chosen, now=now, since=since, until=until, counts=tally.counts()
        )
        if physics_only is not None:
            record = TrialRecord(**dict(record), physics_only=physics_only)
        writer.record = record
    return ClassifyResult(
        folder=folder,
        record=record,
        explanation=trusted.explanation,
        conflicts=tuple(seam for seam in chosen["seam_id"] if seam in conflicts),
        seams_without_limits={
            recipe: n
            for recipe, n in sorted(Counter(chosen["recipe"].astype(str)).items())
            if limits.get(recipe) is None
        },
    )


def _chosen(
    metadata: pd.DataFrame,
    since: datetime | None,
    until: datetime | None,
    seam_ids: Collection[str] | None,
) -> pd.DataFrame:
    if metadata.empty:
        raise BadInput("the store holds no seams", do="run 'seamtell ingest PATH' first")
    chosen = metadata
    if seam_ids is not None:
        unknown = sorted(set(seam_ids) - set(metadata["seam_id"]))
        if unknown:
            raise BadInput(f"no seam '{unknown[0]}' in the store", do="ingest it, or mend the seam id")
        chosen = chosen[chosen["seam_id"].isin(list(seam_ids))]
    if since is not None:
        chosen = chosen[chosen["welded_at"] >= since]
    if until is not None:
        chosen = chosen[chosen["welded_at"] < until]
    if chosen.empty:
        first, last = metadata["welded_at"].iloc[0], metadata["welded_at"].iloc[-1]
        raise BadInput(
            "no seam of the store is in the choice",
            do=f"choose between {first:%Y-%m-%d} and {last:%Y-%m-%d}, when the stored seams were welded",
        )
    return chosen


@dataclass
class _Tally:
    """Counts over the batches, so that nothing but them stays in memory."""

    seams: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    labels: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)

    def add(self, decisions: list[SeamDecision]) -> None:
        self.seams += len(decisions)
        for one in decisions:
            self.verdicts[one.verdict.text] += 1
            self.labels.update(one.answers.labels)
            self.reasons.update(reason for reason in one.answers.reasons if reason)

    def counts(self) -> DecisionCounts:
        names = [*(flaw.value for flaw in Flaw), UNCLASSIFIED]
        return DecisionCounts(
            seams=self.seams,
            indications=self.labels.total(),
            verdicts={verdict.text: self.verdicts[verdict.text] for verdict in reversed(Verdict)},
            labels={name: self.labels[name] for name in names},
            unclassified_by_reason=dict(sorted(self.reasons.items())),
        )


def _record(
    ws: Workspace,
    trusted: TrustedModel,
    limits_digest: str,
    chosen: pd.DataFrame,
    *,
    now: datetime,
    since: datetime | None,
    until: datetime | None,
    counts: DecisionCounts,
) -> DecisionRecord:
    log_seq, log_digest = _log_head(ws)
    content = hashlib.sha256()
    for seam_id, digest in zip(chosen["seam_id"], chosen["content_sha256"], strict=True):
        content.update(f"{digest} {seam_id!r}\n".encode())
    return DecisionRecord(
        software_version=software_version(),
        decided_at=now.astimezone(UTC),
        model_id=trusted.model_id,
        model_digest=trusted.digest,
        model_reason=trusted.reason.value if trusted.reason is not None else "",
        limits_digest=limits_digest,
        settings_digest=hashlib.sha256(ws.settings_path.read_bytes()).hexdigest(),
        input_digest=content.hexdigest(),
        since=since,
        until=until,
        counts=counts,
        deviation=trusted.deviation,
        log_seq=log_seq,
        log_digest=log_digest,
    )


def _log_head(ws: Workspace) -> tuple[int, str]:
    """So that every decision tells how long the log was; a log that is broken gives nothing to keep."""
    try:
        return log_head(ws)
    except SeamtellError:
        return 0, ""

"""The stage *classify*: label the indications of new seams, under the protection of the limit rule."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from seamtell.pipeline.decisions.choice import Choice, welded_span
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.files import (
    DecisionCounts,
    DecisionRecord,
    TrialRecord,
    check_empty,
    record_file,
)
from seamtell.pipeline.decisions.job import ClassifyJob, ClassifySums
from seamtell.pipeline.decisions.trusted_model import TrustedModel, model_on_trial, trusted_model
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import indication_settings, read_settings, settings_digest
from seamtell.pipeline.sign_off.approval_log import log_head
from seamtell.pipeline.store.elsewhere import conflicts_of
from seamtell.pipeline.store.manifest import Manifest, read_manifest
from seamtell.pipeline.store.row_groups import BATCH_SEAMS, UnreadSeams, row_groups_of
from seamtell.pipeline.streaming.job import job_key
from seamtell.pipeline.streaming.ordered import usable_cores
from seamtell.pipeline.streaming.target import open_target
from seamtell.pipeline.streaming.unit_run import RunUnits, Whole, run_units, unheard, whole
from seamtell.pipeline.streaming.units import UNIT_SEAMS, units_of
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["ClassifyResult", "classify"]


@dataclass(frozen=True)
class ClassifyResult:
    """What was decided.

    Parameters
    ----------
    folder : Path or Place
        Holds the decision files.
    record : DecisionRecord
        What ``decision.json`` says, counts included.
    explanation : str
        Why the limit rule decided alone, and what to do; empty when a model labelled.
    conflicts : tuple of str
        Classified seams with two differing traces.
    seams_without_limits : mapping of str to int
        Seams rejected because the limit file does not name their recipe, by recipe.
    unread : tuple of UnreadSeams
        Seams in damaged parts of the store: nothing was decided on them, which releases none.
    suspended : tuple of str
        A sentence for each line whose labels are suspended now, and what to do.
    """

    # A trial run shows in the type of `record`: a `TrialRecord`.

    folder: Path | Place
    record: DecisionRecord
    explanation: str
    conflicts: tuple[str, ...]
    seams_without_limits: dict[str, int]
    unread: tuple[UnreadSeams, ...] = ()
    suspended: tuple[str, ...] = ()


def classify(
    ws: Workspace,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    seam_ids: Collection[str] | None = None,
    out: Path | Place | None = None,
    store: Path | Place | None = None,
    run: RunUnits | None = None,
    trial: str | None = None,
    threads: int | None = None,
    unit_seams: int = UNIT_SEAMS,
    batch_seams: int = BATCH_SEAMS,
    on_seams: Callable[[int], object] = unheard,
    now: datetime,
) -> ClassifyResult:
    """Decide on the chosen seams and write the decision files.

    A run that was killed is gone on with by the next one with the same inputs.
    In a trial run an unapproved model labels; the verdicts are those of a run without
    any model, and the files are no decisions.

    Parameters
    ----------
    since, until : datetime, optional
        Timezone-aware; seams with ``since <= welded_at < until``.
    seam_ids : collection of str, optional
        Only these seams.
    out : Path or Place, optional
        A new or empty folder or place elsewhere; default: ``decisions/<UTC time>`` in the workspace, with
        ``-trial`` behind it for a trial run.
    store : Path or Place, optional
        Folder of another store than that of the workspace; limits, settings and model stay its own.
    run : RunUnits, optional
        Does the units; default: threads of this process. The result does not depend on it.
    trial : str, optional
        Model to try, approved or not.
    threads : int, optional
        The result does not depend on it; default: as many as there are cores.
    unit_seams : int
        Seams in one part of the result, about.
    batch_seams : int
        Worked on at once, about; the result does not depend on it.
    on_seams : callable
        Told how many seams more are done.
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
    WorkspaceBusy
        Another process decides on the same seams at this moment.
    """
    settings = read_settings(ws.settings_path)
    limits = read_limits(ws.limits_path)
    traces = ws.traces_dir if store is None else store
    manifest = read_manifest(traces)
    if not manifest.n_seams:
        raise BadInput("the store holds no seams", do="run 'seamtell ingest PATH' first")
    choice = Choice(since, until, None if seam_ids is None else frozenset(seam_ids))
    parts = choice.parts(traces, manifest)
    physics_only: bool | None = None
    if trial is None:
        trusted = trusted_model(ws, settings=settings, limits_digest=limits.digest, now=now)
    else:
        trusted, physics_only = model_on_trial(ws, trial)
    decider = Decider(
        limits,
        indication_settings(settings.describe),
        settings.review,
        trusted,
        conflicts_of(ws, store),
        trial=trial is not None,
    )
    suspensions, suspended = suspensions_of(ws, settings.health, now=now)
    job = ClassifyJob(decider, choice, physics_only, suspensions)
    suffix = "" if trial is None else "-trial"
    folder = ws.decisions_dir / f"{now.astimezone(UTC):%Y%m%dT%H%M%SZ}{suffix}" if out is None else out
    if isinstance(folder, Path):
        check_empty(folder)
    run = run or partial(run_units, threads=threads or usable_cores(), batch_seams=batch_seams)
    inputs = {**job.inputs, "settings": settings_digest(ws)}
    key = job_key("classify", manifest, unit_seams, inputs)
    with open_target(folder, "classify", key, job) as target:
        units = units_of(row_groups_of(traces, parts), unit_seams)
        done = whole(job, run(job, units, target, on_seams=on_seams))
        if not done.sums.tally.seams and not done.unread:
            target.discard()
            raise _nothing_chosen(traces, manifest)
        record = _record(ws, trusted, limits.digest, now=now, since=since, until=until, done=done)
        if physics_only is not None:
            record = TrialRecord(**dict(record), physics_only=physics_only)
        target.write_record(record_file(record), record.to_json())
        target.publish(folder)
    tally = done.sums.tally
    return ClassifyResult(
        folder=folder,
        record=record,
        explanation=trusted.explanation,
        suspended=suspended,
        conflicts=tally.conflicts,
        seams_without_limits=dict(tally.seams_without_limits),
        unread=done.unread,
    )


def _nothing_chosen(traces: Path | Place, manifest: Manifest) -> BadInput:
    first, last = welded_span(traces, manifest.parts)
    return BadInput(
        "no seam of the store is in the choice",
        do=f"choose between {first:%Y-%m-%d} and {last:%Y-%m-%d}, when the stored seams were welded",
    )


def _record(
    ws: Workspace,
    trusted: TrustedModel,
    limits_digest: str,
    *,
    now: datetime,
    since: datetime | None,
    until: datetime | None,
    done: Whole[ClassifySums],
) -> DecisionRecord:
    log_seq, log_digest = log_head(ws)
    return DecisionRecord(
        software_version=software_version(),
        decided_at=now.astimezone(UTC),
        model_id=trusted.model_id,
        model_digest=trusted.digest,
        model_reason=trusted.reason.value if trusted.reason is not None else "",
        limits_digest=limits_digest,
        settings_digest=settings_digest(ws),
        input_digest=done.content_sha256,
        since=since,
        until=until,
        counts=DecisionCounts.of(done.sums.tally),
        unread_seams=sum(one.seams for one in done.unread),
        deviation=trusted.deviation,
        log_seq=log_seq,
        log_digest=log_digest,
    )

"""The stage *classify*: label the indications of new seams, under the protection of the limit rule."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.decision_tables import decision_table, indication_table
from seamtell.pipeline.decisions.files import (
    DecisionCounts,
    DecisionRecord,
    TrialRecord,
    decision_folder,
)
from seamtell.pipeline.decisions.tally import Tally
from seamtell.pipeline.decisions.trusted_model import TrustedModel, model_on_trial, trusted_model
from seamtell.pipeline.describe import indication_settings
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.sign_off.approval_log import log_head
from seamtell.pipeline.store.manifest import Manifest, read_manifest
from seamtell.pipeline.store.row_groups import (
    Chunk,
    SeamRows,
    UnreadSeams,
    chunks_of,
    read_chunk,
    stored_ids,
)
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.streaming.ordered import ordered_map, usable_cores
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pyarrow as pa

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
    unread : tuple of UnreadSeams
        Seams in damaged parts of the store: nothing was decided on them, which releases none.
    """

    # A trial run shows in the type of `record`: a `TrialRecord`.

    folder: Path
    record: DecisionRecord
    explanation: str
    conflicts: tuple[str, ...]
    seams_without_limits: dict[str, int]
    unread: tuple[UnreadSeams, ...] = ()


def classify(
    ws: Workspace,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    seam_ids: Collection[str] | None = None,
    out: Path | None = None,
    trial: str | None = None,
    threads: int | None = None,
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
    threads : int, optional
        The result does not depend on it; default: as many as there are cores.
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
    manifest = read_manifest(ws.traces_dir)
    if not manifest.n_seams:
        raise BadInput("the store holds no seams", do="run 'seamtell ingest PATH' first")
    choice = _Choice(since, until, None if seam_ids is None else frozenset(seam_ids))
    choice.check(ws, manifest)
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
        SeamStore(ws.traces_dir).conflicts(),
        trial=trial is not None,
    )
    suffix = "" if trial is None else "-trial"
    folder = out or ws.decisions_dir / f"{now.astimezone(UTC):%Y%m%dT%H%M%SZ}{suffix}"
    seen = _Seen()
    with decision_folder(folder, trial=physics_only is not None) as writer:
        work = partial(_decided, decider, choice, trusted.digest, physics_only)
        for every in ordered_map(work, chunks_of(ws.traces_dir, manifest), threads or usable_cores()):
            for done in every:
                seen.add(done)
                if done.tables is not None:
                    writer.write(*done.tables)
        if not seen.tally.seams and not seen.unread and seen.span is not None:
            raise _nothing_chosen(*seen.span)
        record = _record(ws, trusted, limits.digest, now=now, since=since, until=until, seen=seen)
        if physics_only is not None:
            record = TrialRecord(**dict(record), physics_only=physics_only)
        writer.record = record
    return ClassifyResult(
        folder=folder,
        record=record,
        explanation=trusted.explanation,
        conflicts=seen.tally.conflicts,
        seams_without_limits=dict(seen.tally.seams_without_limits),
        unread=tuple(seen.unread),
    )


@dataclass(frozen=True)
class _Choice:
    """Which seams are decided on."""

    since: datetime | None
    until: datetime | None
    seam_ids: frozenset[str] | None

    def check(self, ws: Workspace, manifest: Manifest) -> None:
        """Refuse a seam that the store does not hold before anything is decided."""
        if self.seam_ids is None:
            return
        unknown = set(self.seam_ids)
        for ids in stored_ids(ws.traces_dir, manifest.parts):
            unknown.difference_update(ids)
        if unknown:
            raise BadInput(f"no seam '{min(unknown)}' in the store", do="ingest it, or mend the seam id")

    def mask(self, rows: SeamRows) -> NDArray[np.bool_]:
        """Which rows are chosen."""
        import pyarrow as pa
        import pyarrow.compute as pc

        welded = rows.facts.column("welded_at")
        mask = np.ones(len(rows), dtype=np.bool_)
        if self.since is not None:
            mask &= pc.greater_equal(welded, pa.scalar(self.since, welded.type)).to_numpy()
        if self.until is not None:
            mask &= pc.less(welded, pa.scalar(self.until, welded.type)).to_numpy()
        if self.seam_ids is not None:
            wanted = pa.array(sorted(self.seam_ids), pa.string())
            mask &= pc.is_in(rows.facts.column("seam_id"), wanted).to_numpy()
        return mask


@dataclass(frozen=True)
class _Done:
    """What one batch gave, or what could not be read."""

    span: tuple[datetime, datetime] | None = None
    tables: tuple[pa.Table, pa.Table] | None = None
    tally: Tally = field(default_factory=Tally)
    content: bytes = b""
    unread: tuple[UnreadSeams, ...] = ()


@dataclass
class _Seen:
    """Sums over the batches, so that nothing but them stays in memory."""

    tally: Tally = field(default_factory=Tally)
    content: hashlib._Hash = field(default_factory=hashlib.sha256)
    unread: list[UnreadSeams] = field(default_factory=list)
    span: tuple[datetime, datetime] | None = None

    def add(self, done: _Done) -> None:
        self.tally += done.tally
        self.content.update(done.content)
        self.unread += done.unread
        spans = [span for span in (self.span, done.span) if span is not None]
        if spans:
            self.span = min(first for first, _ in spans), max(last for _, last in spans)


def _decided(
    decider: Decider,
    choice: _Choice,
    model_digest: str,
    physics_only: bool | None,
    chunk: Chunk | UnreadSeams,
) -> list[_Done]:
    """Read one chunk and decide on the chosen seams in it."""
    if isinstance(chunk, UnreadSeams):
        return [_Done(unread=(chunk,))]
    parts, unread = read_chunk(chunk)
    every = [_Done(unread=tuple(unread))]
    for part in parts:
        times = part.facts.column("welded_at")
        span = (times[0].as_py(), times[len(part) - 1].as_py())
        rows = part.chosen(choice.mask(part))
        if not len(rows):
            every.append(_Done(span))
            continue
        ids = rows.facts.column("seam_id").to_pylist()
        decided = decider.decide(ids, rows.batch)
        digests = rows.facts.column("content_sha256").to_pylist()
        content = "".join(f"{digest} {one!r}\n" for one, digest in zip(ids, digests, strict=True))
        tables = (
            indication_table(decided, trial_of_physics_only=physics_only),
            decision_table(decided, model_digest),
        )
        every.append(_Done(span, tables, Tally.of(decided), content.encode("utf-8")))
    return every


def _nothing_chosen(first: datetime, last: datetime) -> BadInput:
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
    seen: _Seen,
) -> DecisionRecord:
    log_seq, log_digest = _log_head(ws)
    tally = seen.tally
    return DecisionRecord(
        software_version=software_version(),
        decided_at=now.astimezone(UTC),
        model_id=trusted.model_id,
        model_digest=trusted.digest,
        model_reason=trusted.reason.value if trusted.reason is not None else "",
        limits_digest=limits_digest,
        settings_digest=hashlib.sha256(ws.settings_path.read_bytes()).hexdigest(),
        input_digest=seen.content.hexdigest(),
        since=since,
        until=until,
        counts=DecisionCounts(
            seams=tally.seams,
            indications=tally.indications,
            verdicts=dict(tally.verdicts),
            labels=dict(tally.labels),
            unclassified_by_reason=dict(tally.unclassified_by_reason),
        ),
        unread_seams=sum(one.seams for one in seen.unread),
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

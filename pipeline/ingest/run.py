"""The ingest stage: trace files in, good seams to the store, bad ones to the rejected area."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline import console
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.ingest.checks import to_trace
from seamtell.pipeline.ingest.discover import find_trace_files
from seamtell.pipeline.ingest.metadata import MAX_TEXT
from seamtell.pipeline.ingest.parquet_columns import ReadItem
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.profile_choice import ChosenProfile, choose_profile
from seamtell.pipeline.ingest.readers import read_seams
from seamtell.pipeline.ingest.reasons import WHAT_TO_DO, InputRejected, Note, ReasonCode
from seamtell.pipeline.ingest.report import IngestReport, NoteCount
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable
from seamtell.pipeline.store.rows import StoredSeam, content_sha256, part_bytes
from seamtell.pipeline.store.writer import COMMIT_SEAMS, StoreWriter
from seamtell.pipeline.workspace import Workspace

__all__ = ["ingest"]


def ingest(
    workspace: Workspace,
    paths: Sequence[Path],
    profile: str | None = None,
    *,
    commit_seams: int = COMMIT_SEAMS,
) -> IngestReport:
    """Take trace files into the store.

    Bad input stops nothing: it is kept with its bytes and listed. A seam whose
    content the store holds already changes nothing; other content under a known
    seam id is a conflict, kept aside until a person settles it.

    Parameters
    ----------
    workspace : Workspace
    paths : sequence of Path
        Files, folders (searched through) and globs.
    profile : str, optional
        Name of an input profile of the workspace, or a path. Without it the obvious one, but a Parquet
        file that only the contract layout fits is read in that.
    commit_seams : int
        Seams between two commits; a kill costs at most these.

    Raises
    ------
    BadInput
        No such path, broken profile or limit file, newer workspace.
    WorkspaceBusy
        Another command is writing.
    StorageProblem
        Disk full or read-only; what was committed before stays.
    """
    read_settings(workspace.settings_path)
    chosen = choose_profile(workspace, profile)
    limits = read_limits(workspace.limits_path)
    files = find_trace_files(workspace, paths)
    with workspace_lock(workspace):
        run = _Run(workspace, chosen, limits, commit_seams)
        with console.progress(files, "ingest", total=len(files)) as items:
            for path in items:
                run.take_file(path)
        run.commit()
        return run.report(len(files))


@dataclass
class _FileOutcome:
    """What one file came to; used to settle earlier rejections once its seams are committed."""

    path: Path
    profile: Profile
    accepted: set[str] = field(default_factory=set)


class _Run:
    """State of one ingest under the lock."""

    def __init__(
        self, workspace: Workspace, chosen: ChosenProfile, limits: Limits, commit_seams: int
    ) -> None:
        self._chosen = chosen
        self._limits = limits
        self._commit_seams = commit_seams
        self._writer = StoreWriter(workspace.traces_dir)
        self._table = RejectedTable(workspace.rejected_dir)
        self._outcomes: list[_FileOutcome] = []
        self._rows: dict[tuple[str, ...], RejectedRow] = {}
        self._notes: dict[str, list[str]] = {}
        self._added = self._unchanged = self._conflicts = self._rejected = self._resolved = 0
        self._contract_files = 0

    def take_file(self, path: Path) -> None:
        """Take every seam of one file."""
        outcome = _FileOutcome(path, self._chosen.for_file(path))
        self._contract_files += outcome.profile is not self._chosen.profile
        for item in read_seams(path, outcome.profile):
            self._take_item(item, outcome)
            if self._writer.n_waiting >= self._commit_seams:
                self._commit_seams_only()
        self._outcomes.append(outcome)

    def commit(self) -> None:
        """Commit what waits, then settle the earlier rejections that it answers."""
        self._commit_seams_only()
        self._settle()
        self._table.save()

    def report(self, files: int) -> IngestReport:
        """Sum the run up."""
        notes = (NoteCount(code, len(lines), lines[0]) for code, lines in sorted(self._notes.items()))
        return IngestReport(
            files=files,
            added=self._added,
            unchanged=self._unchanged,
            conflicts=self._conflicts,
            rejected=self._rejected,
            resolved=self._resolved,
            profile=self._chosen.name,
            contract_files=self._contract_files,
            rows=tuple(self._rows.values()),
            notes=tuple(notes),
        )

    def _commit_seams_only(self) -> None:
        # Rejections first: were it the other way round, a kill between the two could lose one.
        self._table.save()
        self._writer.commit()

    def _take_item(self, item: ReadItem, outcome: _FileOutcome) -> None:
        raw = item.outcome
        if isinstance(raw, InputRejected):
            self._reject(item, raw, "", outcome)
            return
        try:
            trace, notes = to_trace(raw, outcome.profile, self._limits)
        except InputRejected as problem:
            self._reject(item, problem, raw.metadata.get("seam_id", "")[:MAX_TEXT], outcome)
            return
        digest = content_sha256(trace)
        known = self._writer.digest_of(trace.seam_id)
        if known == digest:
            self._unchanged += 1
        elif known is not None:
            self._keep_conflict(item, trace, digest, outcome)
            return
        else:
            self._writer.add(trace, outcome.path.name)
            self._added += 1
            self._note(trace.seam_id, notes)
        outcome.accepted.add(trace.seam_id)

    def _note(self, seam_id: str, notes: Sequence[Note]) -> None:
        for note in notes:
            self._notes.setdefault(note.code, []).append(f"seam '{seam_id}': {note.message}")

    def _keep_bytes(self, item: ReadItem, path: Path) -> str:
        return self._table.keep_bytes(item.own_bytes()) if item.own_bytes else self._table.keep_file(path)

    def _reject(self, item: ReadItem, problem: InputRejected, seam_id: str, outcome: _FileOutcome) -> None:
        unreadable = problem.code is ReasonCode.UNREADABLE_FILE
        row = RejectedRow(
            kind=InputKind.TRACE,
            sha256="" if unreadable else self._keep_bytes(item, outcome.path),
            source=str(outcome.path),
            row=problem.row or item.row,
            seam_id=seam_id,
            reason=problem.code,
            message=problem.message,
            do=problem.do,
        )
        self._rejected += 1
        self._record(row)

    def _keep_conflict(self, item: ReadItem, trace: SeamTrace, digest: str, outcome: _FileOutcome) -> None:
        row = RejectedRow(
            kind=InputKind.TRACE,
            sha256=self._keep_bytes(item, outcome.path),
            source=str(outcome.path),
            row=item.row,
            seam_id=trace.seam_id,
            reason=ReasonCode.SEAM_ID_CONFLICT,
            message="the store holds this seam with other content; both are kept",
            do=WHAT_TO_DO[ReasonCode.SEAM_ID_CONFLICT],
            content_sha256=digest,
        )
        settled = self._table.find(row.key)
        if settled is not None and not settled.is_open:
            self._unchanged += 1
            return
        if settled is None:
            parsed = part_bytes([StoredSeam(trace, outcome.path.name, digest)])
            row = replace(row, parsed_sha256=self._table.keep_bytes(parsed))
        self._conflicts += 1
        self._record(row)

    def _record(self, row: RejectedRow) -> None:
        kept = self._table.add(row)
        self._rows[kept.key] = kept

    def _settle(self) -> None:
        """Resolve earlier rejections of the same file, bytes or seam that did not come again."""
        open_before = [row for row in self._table if row.is_open and row.kind is InputKind.TRACE]
        open_before = [row for row in open_before if not row.is_conflict and row.key not in self._rows]
        if not open_before:
            return
        sources = {str(outcome.path) for outcome in self._outcomes}
        accepted = set().union(*(outcome.accepted for outcome in self._outcomes))
        digests = {_digest(outcome.path) for outcome in self._outcomes if outcome.accepted}
        settled = {
            row.key
            for row in open_before
            if row.source in sources or row.seam_id in accepted or row.sha256 in digests
        }
        self._resolved += self._table.resolve(lambda row: row.key in settled, "ingested again")


def _digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()

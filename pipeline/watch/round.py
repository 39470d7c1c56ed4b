"""One round of the live mode: some complete files, from the first byte to the durable decision."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import datetime

from seamtell.pipeline.errors import WorkspaceBusy
from seamtell.pipeline.ingest.profile_choice import choose_profile
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.store.rejected import RejectedRow
from seamtell.pipeline.watch.arrivals import Arrival
from seamtell.pipeline.watch.current_decider import CurrentDecider
from seamtell.pipeline.watch.deciding import BATCH_SEAMS, NewSeams, decide_and_record
from seamtell.pipeline.watch.intake import Intake, Kind
from seamtell.pipeline.watch.journal import FileOutcome, FileRow, Journal
from seamtell.pipeline.watch.journal_folders import unpublished
from seamtell.pipeline.watch.news import FileKnown, InputRefused, Listener, Warned
from seamtell.pipeline.watch.publishing import publish
from seamtell.pipeline.watch.rejections import OpenRejections
from seamtell.pipeline.watch.stored_digests import StoredDigests
from seamtell.pipeline.watch.trace_files import stamp_of
from seamtell.pipeline.workspace import Workspace

__all__ = ["Round"]

_PUBLISH_SEAMS = 512
_PUBLISH_IDLE_S = 1.0
_PUBLISH_S = 10.0
_RETRY_S = 2.0


class Round:
    """Deals with complete files, some at a time.

    Parameters
    ----------
    ws : Workspace
    wanted : str or None
        Input profile, as for `ingest`.
    journal : Journal
    stored : StoredDigests
    current : CurrentDecider
    clock : callable
        The time, timezone-aware.
    hear : callable
        Told the news.
    """

    most_files = BATCH_SEAMS

    def __init__(
        self,
        ws: Workspace,
        wanted: str | None,
        journal: Journal,
        stored: StoredDigests,
        current: CurrentDecider,
        clock: Callable[[], datetime],
        hear: Listener,
    ) -> None:
        self._ws = ws
        self._wanted = wanted
        self._journal = journal
        self._stored = stored
        self._current = current
        self._clock = clock
        self._hear = hear
        self._intake = Intake(choose_profile(ws, wanted), journal, stored)
        self._rejections = OpenRejections(ws.rejected_dir)
        self._waiting_seams = sum(one[2].tally.seams for one in unpublished(journal))
        self._not_before_s = 0.0
        self._waiting_since_s = self._last_s = time.monotonic()
        self._explanation = current.at(clock()).explanation

    def deal_with(self, arrivals: Sequence[Arrival]) -> bool:
        """Decide on the new seams of some files; keep aside what is rejected or in conflict.

        Returns
        -------
        bool
            Whether there were any.

        Raises
        ------
        BadInput, WorkspaceBusy, StorageProblem
            For a while it cannot go on; files without their decision were not dealt with.
        """
        if not arrivals:
            return False
        deciding = self._current.at(self._clock())
        if deciding.explanation != self._explanation:
            self._tell_trust(deciding.explanation)
        self._stored.refresh()
        new, kept_aside = NewSeams(), []
        for arrival in arrivals:
            new, odd = self._take_file(arrival, new, deciding.limits)
            if odd:
                kept_aside.append(arrival)
        self._decide(new)
        if kept_aside:
            self._keep_aside(kept_aside)
        return True

    def publish_when_due(self) -> bool:
        """Carry decisions and seams to where other commands look, in a quiet moment or after a while.

        Returns
        -------
        bool
            Whether it was done.

        Raises
        ------
        WorkspaceBusy, StorageProblem
            Not now; it is tried again after a while.
        """
        now = time.monotonic()
        quiet = now - self._last_s >= _PUBLISH_IDLE_S or self._waiting_seams >= _PUBLISH_SEAMS
        due = quiet or now - self._waiting_since_s >= _PUBLISH_S
        if not self._waiting_seams or not due or now < self._not_before_s:
            return False
        self._not_before_s = now + _RETRY_S
        self.publish()
        self._not_before_s = now
        return True

    def publish(self) -> None:
        """Carry them there now.

        Raises
        ------
        WorkspaceBusy, StorageProblem
            Not now; the journal keeps it all.
        """
        try:
            conflicts = publish(self._ws, self._journal, self._stored)
        except WorkspaceBusy:
            raise WorkspaceBusy(
                "another seamtell command changes this workspace; the journal keeps the decisions meanwhile",
                where=str(self._ws.root),
                do="nothing: store and decision files get them when it has ended, from this watch or a later",
            ) from None
        for seam_id in conflicts:
            self._hear(
                Warned(
                    f"seam '{seam_id}': another command stored other content meanwhile. "
                    "To do: see 'seamtell rejected'"
                )
            )
        self._waiting_seams = 0

    def _take_file(self, arrival: Arrival, new: NewSeams, limits: Limits) -> tuple[NewSeams, bool]:
        """Gather the seams of one file; also whether it has to go through ingest."""
        odd, fresh, seam_ids, n = False, False, set(), 0
        for taken in self._intake.seams(arrival, limits):
            kind = new.take(taken, arrival)
            odd |= kind in (Kind.REJECTED, Kind.CONFLICT)
            fresh |= kind is Kind.NEW
            n += 1
            if taken.stored is not None:
                seam_ids.add(taken.stored.trace.seam_id)
            if len(new.seams) >= BATCH_SEAMS:
                self._decide(new)
                new = NewSeams()
        after = stamp_of(arrival.path)
        if after is not None and after != arrival.stamp:
            new.drop(arrival)  # still being written; the poll finds it again
            return new, False
        if odd or self._rejections.concern(arrival.path, seam_ids):
            return new, True
        new.done(arrival)
        if not fresh:
            self._hear(FileKnown(str(arrival.path), n))
        return new, False

    def _decide(self, new: NewSeams) -> None:
        decide_and_record(new, self._journal, self._current, self._clock, self._hear)
        if new.seams and not self._waiting_seams:
            self._waiting_since_s = time.monotonic()
        self._waiting_seams += len(new.seams)
        self._last_s = time.monotonic()

    def _keep_aside(self, arrivals: Sequence[Arrival]) -> None:
        """Let ingest do with these files what it does with any: keep the bytes, list the reason."""
        # First what was decided, so that ingest sees it and no later content takes its place.
        self.publish()
        there = [one for one in arrivals if stamp_of(one.path) == one.stamp]
        for one in arrivals:
            if stamp_of(one.path) is None:
                self._hear(Warned(f"{one.path}: not usable, and gone before its bytes could be kept"))
        if not there:
            return
        report = ingest(self._ws, [one.path for one in there], self._wanted)
        sources = {row.source for row in report.rows}
        self._journal.note_files(
            [
                FileRow(
                    one.path,
                    one.stamp,
                    FileOutcome.REJECTED if str(one.path) in sources else FileOutcome.DECIDED,
                )
                for one in there
            ]
        )
        for row in report.rows:
            self._hear(self._refused(row))

    def _refused(self, row: RejectedRow) -> InputRefused:
        message = row.message
        if row.is_conflict and (decided := self._journal.seam(row.seam_id)) is not None:
            message += f"; the verdict on the earlier content was '{decided.verdict}'"
        return InputRefused(row.source, row.seam_id, row.reason, message, row.do, row.is_conflict)

    def _tell_trust(self, explanation: str) -> None:
        self._explanation = explanation
        alone = f"the limit rule decides alone: {explanation}"
        self._hear(Warned(alone if explanation else "an approved model labels again"))

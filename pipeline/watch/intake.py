"""From a complete file to the seams in it, through the checks of ingest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.ingest.checks import to_trace
from seamtell.pipeline.ingest.profile_choice import ChosenProfile
from seamtell.pipeline.ingest.readers import read_seams
from seamtell.pipeline.ingest.reasons import InputRejected
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.store.rows import StoredSeam, content_sha256
from seamtell.pipeline.watch.arrivals import Arrival
from seamtell.pipeline.watch.journal import Journal
from seamtell.pipeline.watch.stored_digests import StoredDigests

__all__ = ["Intake", "Kind", "TakenSeam"]


class Kind(Enum):
    """What a seam of a file is to those that were there before."""

    NEW = auto()
    """No decision was made on it."""
    KNOWN = auto()
    """The same content has its decision."""
    CONFLICT = auto()
    """Other content is known under this name."""
    REJECTED = auto()
    """The checks reject it."""


@dataclass(frozen=True, eq=False)
class TakenSeam:
    """One seam of a file; `stored` is None when the checks rejected it."""

    kind: Kind
    stored: StoredSeam | None = None


class Intake:
    """Reads files and tells new seams from known ones.

    Parameters
    ----------
    profile : ChosenProfile
    journal : Journal
    stored : StoredDigests
    """

    def __init__(self, profile: ChosenProfile, journal: Journal, stored: StoredDigests) -> None:
        self._profile = profile
        self._journal = journal
        self._stored = stored

    def seams(self, arrival: Arrival, limits: Limits) -> Iterator[TakenSeam]:
        """Every seam of one file, read one by one."""
        profile = self._profile.for_file(arrival.path)
        for item in read_seams(arrival.path, profile):
            if isinstance(item.outcome, InputRejected):
                yield TakenSeam(Kind.REJECTED)
                continue
            try:
                trace, _ = to_trace(item.outcome, profile, limits)
            except InputRejected:
                yield TakenSeam(Kind.REJECTED)
                continue
            yield self._taken(trace, arrival)

    def _taken(self, trace: SeamTrace, arrival: Arrival) -> TakenSeam:
        digest = content_sha256(trace)
        decided = self._journal.seam(trace.seam_id)
        held = self._stored.by_seam.get(trace.seam_id)
        if held is None:
            held = decided.content_sha256 if decided is not None else digest
        if held != digest:
            return TakenSeam(Kind.CONFLICT, StoredSeam(trace, arrival.path.name, digest))
        # A conflict that was settled for the later content leaves the decision on the earlier one.
        kind = Kind.NEW if decided is None else Kind.KNOWN
        return TakenSeam(kind, StoredSeam(trace, arrival.path.name, digest))

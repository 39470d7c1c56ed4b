"""What the live mode tells whoever listens, and what it counts."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from seamtell.models.verdict import Verdict

__all__ = [
    "FileKnown",
    "InputRefused",
    "Listener",
    "News",
    "SeamDecided",
    "Warned",
    "WatchCounts",
    "Watching",
]

_LATENCIES = 1000


@dataclass(frozen=True)
class Watching:
    """All is warm: from now on a file is decided on as soon as it is complete."""

    folder: str
    profile: str
    model_id: str
    explanation: str
    """Why the limit rule decides alone, and what to do; empty when a model labels."""


@dataclass(frozen=True)
class SeamDecided:
    """A decision that is on the disk.

    Parameters
    ----------
    seam_id, file : str
    verdict, limit_verdict, reason : str
        As in the decision table.
    labels : tuple of str
        Of its indications, in their order.
    latency_ms : float
        From the complete file to the decision on the disk.
    """

    seam_id: str
    file: str
    verdict: str
    limit_verdict: str
    reason: str
    labels: tuple[str, ...]
    latency_ms: float


@dataclass(frozen=True)
class FileKnown:
    """A file without a new seam: every one in it has its decision."""

    file: str
    seams: int


@dataclass(frozen=True)
class InputRefused:
    """A file or seam that was kept aside: rejected, or in conflict with what is known."""

    file: str
    seam_id: str
    reason: str
    message: str
    todo: str
    conflict: bool


@dataclass(frozen=True)
class Warned:
    """Something a person should see to."""

    text: str


News = Watching | SeamDecided | FileKnown | InputRefused | Warned
Listener = Callable[[News], object]


@dataclass
class WatchCounts:
    """Sums over one run.

    Parameters
    ----------
    verdicts : dict of str to int
        Seams by verdict, strictest first.
    known_files, rejected, conflicts, warnings : int
    last_seam : str
        Decided last.
    last_warning : str
    latencies_ms : deque of float
        Of the last 1,000 seams.
    """

    verdicts: dict[str, int] = field(default_factory=lambda: {v.text: 0 for v in reversed(Verdict)})
    known_files: int = 0
    rejected: int = 0
    conflicts: int = 0
    warnings: int = 0
    last_seam: str = ""
    last_warning: str = ""
    latencies_ms: deque[float] = field(default_factory=lambda: deque(maxlen=_LATENCIES))

    @property
    def seams(self) -> int:
        """Seams decided on."""
        return sum(self.verdicts.values())

    def count(self, news: News) -> None:
        """Count one piece of news."""
        if isinstance(news, SeamDecided):
            self.verdicts[news.verdict] += 1
            self.last_seam = news.seam_id
            self.latencies_ms.append(news.latency_ms)
        elif isinstance(news, FileKnown):
            self.known_files += 1
        elif isinstance(news, InputRefused):
            self.conflicts += news.conflict
            self.rejected += not news.conflict
        elif isinstance(news, Warned):
            self.warnings += 1
            self.last_warning = news.text

    def latency_ms(self, share: float) -> float | None:
        """Latency that `share` of the last seams did not exceed; None before the first.

        Examples
        --------
        >>> WatchCounts(latencies_ms=deque([9.0, 5.0, 7.0])).latency_ms(0.5)
        7.0
        """
        ordered = sorted(self.latencies_ms)
        return ordered[min(int(share * len(ordered)), len(ordered) - 1)] if ordered else None

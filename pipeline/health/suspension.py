"""From when to when labels of a line are suspended, and why.

A failed check speaks backwards to the last good check and forwards to the next one. A
check that is overdue speaks forwards until the next check, whose outcome then decides.
Suspension takes labels away and adds a reason. It never touches a verdict: the limit rule decides.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from seamtell.models.answers import NO_CODE, reason_code
from seamtell.models.reasons import Reason
from seamtell.pipeline.health.check_record import CheckEntry, checks_by_line
from seamtell.pipeline.health.flaw_return import Level

__all__ = [
    "EVER",
    "NEVER",
    "NOTHING_SUSPENDED",
    "Span",
    "Suspensions",
    "check_spans",
    "drift_spans",
    "suspect_span",
]

EVER = datetime(1, 1, 1, tzinfo=UTC)
NEVER = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Span:
    """A stretch of time, ``since <= welded_at < until``, in which a line's labels are suspended."""

    since: datetime
    until: datetime
    reason: Reason


@dataclass(frozen=True)
class Suspensions:
    """All that is suspended.

    Parameters
    ----------
    by_line : mapping of str to tuple of Span
        Where spans overlap, the first counts.
    every_line : tuple of Span
        For the lines that `by_line` does not name.
    """

    by_line: Mapping[str, tuple[Span, ...]] = field(default_factory=dict)
    every_line: tuple[Span, ...] = ()

    @property
    def digest(self) -> str:
        """SHA-256 over all of it: decisions depend on it."""
        lines = [f"{line!r} {spans!r}" for line, spans in sorted(self.by_line.items())]
        return hashlib.sha256("\n".join([*lines, repr(self.every_line)]).encode("utf-8")).hexdigest()

    @property
    def nothing(self) -> bool:
        """Whether nothing is suspended at any time: then nobody need ask for each seam."""
        return not self.every_line and not any(self.by_line.values())

    def codes(self, lines: Sequence[str], welded_at: Sequence[datetime]) -> NDArray[np.int8]:
        """Code of the reason of each seam, or `NO_CODE`.

        Parameters
        ----------
        lines : sequence of str, length n
        welded_at : sequence of datetime, length n
            Timezone-aware.

        Returns
        -------
        int8 array of shape (n,)
        """
        codes = np.full(len(lines), NO_CODE, dtype=np.int8)
        if self.nothing:
            return codes
        for i, (line, at) in enumerate(zip(lines, welded_at, strict=True)):
            for span in self.by_line.get(line, self.every_line):
                if span.since <= at < span.until:
                    codes[i] = reason_code(span.reason)
                    break
        return codes


NOTHING_SUSPENDED = Suspensions()


def check_spans(checks: Iterable[CheckEntry], within: timedelta) -> dict[str, tuple[Span, ...]]:
    """Spans that follow from the record, by line.

    Parameters
    ----------
    checks : iterable of CheckEntry
        Of every line, each line's by time.
    within : timedelta
        Longest time from one check to the next.
    """
    return {line: _spans(own, within) for line, own in checks_by_line(checks).items()}


def suspect_span(checks: Sequence[CheckEntry], stopped: CheckEntry) -> Span:
    """What nobody knows to be inspected well because of one check that stopped.

    From the last check of the line before it that did not stop, to the first one after it.
    """
    own = [check for check in checks if check.line == stopped.line and check.level is not Level.STOP]
    before = [check.run_at for check in own if check.run_at < stopped.run_at]
    after = [check.run_at for check in own if check.run_at > stopped.run_at]
    return Span(max(before, default=EVER), min(after, default=NEVER), Reason.REFERENCE_CHECK_FAILED)


def drift_spans(
    drifted: Mapping[str, Sequence[tuple[datetime, datetime | None]]],
) -> dict[str, tuple[Span, ...]]:
    """Spans of lines whose drift suspends them or did, by line; None is open to the end."""
    return {
        line: tuple(Span(since, until or NEVER, Reason.DRIFT_ALARM) for since, until in spans)
        for line, spans in drifted.items()
    }


def _spans(own: Sequence[CheckEntry], within: timedelta) -> tuple[Span, ...]:
    spans = []
    if own[0].level is Level.STOP:
        spans.append(Span(EVER, own[0].run_at, Reason.REFERENCE_CHECK_FAILED))
    for check, following in zip(own, (*own[1:], None), strict=True):
        until = following.run_at if following is not None else NEVER
        failed = check.level is Level.STOP or (following is not None and following.level is Level.STOP)
        if failed:
            spans.append(Span(check.run_at, until, Reason.REFERENCE_CHECK_FAILED))
        elif following is None:
            spans.append(Span(check.run_at + within, until, Reason.REFERENCE_CHECK_OVERDUE))
    return tuple(spans)

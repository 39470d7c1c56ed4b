"""What stands suspended in a workspace at this moment, from all that health keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from seamtell.features.errors import SeamtellError
from seamtell.models.reasons import Reason
from seamtell.pipeline.health.check_record import CheckEntry, read_checks
from seamtell.pipeline.health.drift_state import drift_suspended
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.health.suspension import EVER, NEVER, Span, Suspensions, check_spans, drift_spans
from seamtell.pipeline.settings import HealthSettings
from seamtell.pipeline.workspace import Workspace

__all__ = ["suspensions_of"]


def suspensions_of(
    ws: Workspace, settings: HealthSettings, *, now: datetime
) -> tuple[Suspensions, tuple[str, ...]]:
    """Everything suspended, and a sentence for a person on each line that is at `now`.

    Never raises for a record that cannot be trusted: every line is suspended then.
    """
    try:
        checks = read_checks(ws)
        drifted = drift_suspended(ws)
    except SeamtellError as problem:
        all_time = Span(EVER, NEVER, Reason.REFERENCE_CHECK_FAILED)
        return Suspensions({}, (all_time,)), (f"labels of every line are suspended: {problem}",)
    spans = check_spans(checks, timedelta(hours=settings.check_within_hours))
    for line, own in drift_spans(drifted).items():
        spans[line] = (*spans.get(line, ()), *own)
    unchecked = Span(EVER, NEVER, Reason.REFERENCE_CHECK_OVERDUE)
    every_line = (unchecked,) if settings.require_check else ()
    if every_line:
        checked = {check.line for check in checks}
        spans = {line: own if line in checked else (*every_line, *own) for line, own in spans.items()}
    sentences = [
        *_failed(checks),
        *_overdue(spans, now),
        *(_drifted(line) for line, own in sorted(drifted.items()) if own[-1][1] is None),
    ]
    return Suspensions(spans, every_line), tuple(sentences)


def _failed(checks: tuple[CheckEntry, ...]) -> list[str]:
    last = {check.line: check for check in checks}
    return [
        f"labels of line '{line}' are suspended: its reference check '{check.run_id}' of "
        f"{check.run_at:%Y-%m-%d %H:%M} UTC stopped. The limit rule decides alone. To do: mend the cause, "
        "then run 'seamtell refcheck' with a new run"
        for line, check in sorted(last.items())
        if check.level is Level.STOP
    ]


def _overdue(spans: Mapping[str, Sequence[Span]], now: datetime) -> list[str]:
    return [
        f"labels of line '{line}' are suspended for seams welded from {span.since:%Y-%m-%d %H:%M} UTC on: "
        "its reference check is overdue. The limit rule decides alone. To do: run 'seamtell refcheck' with "
        "a new run"
        for line, own in sorted(spans.items())
        for span in own
        if span.reason is Reason.REFERENCE_CHECK_OVERDUE and EVER < span.since <= now
    ]


def _drifted(line: str) -> str:
    return (
        f"labels of line '{line}' are suspended: its production has drifted. The limit rule decides alone. "
        "To do: see 'seamtell drift', mend the cause, then 'seamtell drift --restart'"
    )

"""``health/health.json``: what pages show of the instrument, put together from the record and the state."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.health.check_record import CheckEntry, read_checks
from seamtell.pipeline.health.drift_state import read_drift
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.health.trend import Trend, trends
from seamtell.pipeline.workspace import Workspace

__all__ = ["HEALTH_SCHEMA_VERSION", "health_document", "health_path", "write_health"]

HEALTH_SCHEMA_VERSION = 1


def health_path(ws: Workspace) -> Path:
    """Where it is kept."""
    return ws.health_dir / "health.json"


def write_health(ws: Workspace, *, now: datetime) -> None:
    """Write the file anew.

    Raises
    ------
    StorageProblem
        The record or the state is not readable, or the disk refuses.
    """
    document = {"schema_version": HEALTH_SCHEMA_VERSION, "made_at": now.isoformat(), **health_document(ws)}
    data = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write_bytes_atomically(health_path(ws), data.encode("utf-8"))


def health_document(ws: Workspace) -> dict[str, Any]:
    """Its content: a row for each check and channel, trends with their intervals, and drift by line.

    Raises
    ------
    StorageProblem
        The record or the state is not readable.
    """
    checks = read_checks(ws)
    state = read_drift(ws)
    return {
        "sentence": _sentence(checks),
        "checks": [row for check in checks for row in _rows(check)],
        "trends": [_trend(trend) for trend in trends(checks)],
        "drift": {
            line: {
                "level": own.level.text,
                "blocks": len(own.blocks),
                "from_day": own.from_day.isoformat(),
                "until_day": own.next_day.isoformat(),
                "alarms": [
                    {**alarm.model_dump(mode="json"), "level": alarm.level.text} for alarm in own.alarms
                ],
            }
            for line, own in sorted(state.lines.items() if state is not None else ())
        },
    }


def _rows(check: CheckEntry) -> list[dict[str, Any]]:
    """The farthest deviation on each channel, and what the check as a whole says."""
    channels = sorted({channel for flaw in check.flaws for channel in flaw.deviation_db})
    return [
        {
            "line": check.line,
            "head": check.head,
            "run": check.run_id,
            "at": check.run_at.isoformat(),
            "channel": channel.value,
            "deviation_db": max(
                (flaw.deviation_db[channel] for flaw in check.flaws if channel in flaw.deviation_db), key=abs
            ),
            "missing": sum(flaw.offset_mm is None for flaw in check.flaws),
            "state": check.level.text,
        }
        for channel in channels
    ]


def _trend(trend: Trend) -> dict[str, Any]:
    return {**trend.as_document(), "sentence": trend.sentence}


def _sentence(checks: tuple[CheckEntry, ...]) -> str:
    last = {check.line: check for check in checks}
    if not last:
        return ""
    said = []
    for level in (Level.STOP, Level.WARN):
        lines = sorted(line for line, check in last.items() if check.level is level)
        if lines:
            said.append(f"The latest reference check {level.text}s on line {', '.join(lines)}.")
    good = sum(check.level is Level.GOOD for check in last.values())
    said.append(f"It is good on {good} of {len(last)} lines, n = {len(checks)} checks.")
    return " ".join(said)

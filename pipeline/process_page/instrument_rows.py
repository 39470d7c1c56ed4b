"""What the workspace keeps of the instrument's health, for the process page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.health.summary import health_document
from seamtell.pipeline.process_page.view import HealthRow
from seamtell.pipeline.settings import HealthSettings
from seamtell.pipeline.workspace import Workspace

__all__ = ["Instrument", "instrument_of"]

_LEVELS = {"note": "noted", "review": "a person should look into it", "suspend": "labels are suspended"}


@dataclass(frozen=True)
class Instrument:
    """Reference checks, drift and what is suspended.

    Parameters
    ----------
    rows : tuple of HealthRow
    checks : str
        A sentence, empty without any check.
    trends, drift : tuple of str
        Sentences.
    suspended, suspended_since : tuple of str
        Sentences: what stood suspended when the last seam of the page was welded, and what does by now.
    """

    rows: tuple[HealthRow, ...]
    checks: str
    trends: tuple[str, ...]
    drift: tuple[str, ...]
    suspended: tuple[str, ...]
    suspended_since: tuple[str, ...]


def instrument_of(
    ws: Workspace, settings: HealthSettings, *, last_welded: datetime, now: datetime
) -> Instrument:
    """Read it.

    Parameters
    ----------
    ws : Workspace
    settings : HealthSettings
    last_welded, now : datetime
        Timezone-aware; of the last seam of the page, and of making it.

    Raises
    ------
    StorageProblem
        The record of checks or the state of the drift sequence is not readable.
    """
    document = health_document(ws)
    rows = [
        HealthRow(row["line"], row["at"], row["channel"], row["deviation_db"], row["state"])
        for row in document["checks"]
    ]
    then, today = (
        [_sentence(one) for one in suspensions_of(ws, settings, now=at)[1]] for at in (last_welded, now)
    )
    return Instrument(
        rows=tuple(rows),
        checks=document["sentence"],
        trends=tuple(one["sentence"] for one in document["trends"]),
        drift=tuple(_drift(line, own) for line, own in document["drift"].items()),
        suspended=tuple(then),
        suspended_since=tuple(one for one in today if one not in then),
    )


def _sentence(message: str) -> str:
    return f"{message[0].upper()}{message[1:]}."


def _drift(line: str, own: dict[str, Any]) -> str:
    looked = f"Drift of line {line}, {own['from_day']} to {own['until_day']}, {own['blocks']} blocks of seams"
    if not own["alarms"]:
        return f"{looked}: none found."
    gravest: dict[str, dict[str, Any]] = {}
    for alarm in own["alarms"]:
        gravest[alarm["stream"]] = alarm
    told = [
        f"{stream.replace('_', ' ')} {'rises' if alarm['upward'] else 'falls'}"
        f"{', most of all ' + alarm['descriptor'].replace('_', ' ') if alarm['descriptor'] else ''}"
        f" since {alarm['since']} ({_LEVELS[alarm['level']]})"
        for stream, alarm in gravest.items()
    ]
    return f"{looked}: {'; '.join(told)}."

"""What the drift sequence keeps: ``health/drift.json``.

Blocks that were counted are never counted again or changed, so looking often costs nothing and
a seam that comes in late changes no past verdict of the sequence.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from enum import IntEnum, StrEnum
from pathlib import Path

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "Alarm",
    "Block",
    "DriftLevel",
    "DriftState",
    "LineDrift",
    "Restart",
    "Stream",
    "drift_path",
    "drift_suspended",
    "read_drift",
    "write_drift",
]


class Stream(StrEnum):
    """What is watched on each line."""

    BASELINE_SPECULAR = "baseline_specular"
    BASELINE_SCATTER = "baseline_scatter"
    NOISE_SPECULAR = "noise_specular"
    NOISE_SCATTER = "noise_scatter"
    INDICATION_RATE = "indication_rate"
    NOVELTY_RATE = "novelty_rate"
    ABSTENTION_RATE = "abstention_rate"
    DESCRIPTORS = "descriptors"


class DriftLevel(IntEnum):
    """From mild to grave, and what happens."""

    NONE = 0
    NOTE = 1
    """It is shown."""
    REVIEW = 2
    """A person looks into it; the classifier goes on."""
    SUSPEND = 3
    """The line's labels are suspended until a person restarts the sequence."""

    @property
    def text(self) -> str:
        """The word for it."""
        return self.name.lower()


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Block(_Kept):
    """Whole days, ``since <= day < until``, with one number a stream; None where it says nothing."""

    since: date
    until: date
    seams: int
    indications: int
    judged: int
    """Indications that the model was asked about."""
    values: dict[str, float | None]
    descriptors: dict[str, float | None]
    """Median of each."""


class Alarm(_Kept):
    """A stream that reached a level, with the block in which it did."""

    stream: Stream
    level: DriftLevel
    since: date
    until: date
    evidence: float
    upward: bool
    descriptor: str = ""
    """The one that shows it most, of the stream of descriptors."""


class Restart(_Kept):
    """Who began the sequence of a line anew, and why."""

    at: AwareDatetime
    by: str
    reason: str
    from_day: date
    was: DriftLevel
    suspended_since: date | None = None
    """Labels before `from_day` stay suspended from this day on: what was drifted then is so still."""


class LineDrift(_Kept):
    """One line."""

    from_day: date
    """First day of the sequence."""
    blocks: tuple[Block, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    """The first of each stream and level."""
    restarts: tuple[Restart, ...] = ()

    @property
    def next_day(self) -> date:
        """First day that no block has."""
        return self.blocks[-1].until if self.blocks else self.from_day

    @property
    def level(self) -> DriftLevel:
        """The gravest that was reached; it stays until a restart."""
        return max((alarm.level for alarm in self.alarms), default=DriftLevel.NONE)

    @property
    def suspended_since(self) -> date | None:
        """Start of the first block that suspended the line; None when none did."""
        days = [alarm.since for alarm in self.alarms if alarm.level is DriftLevel.SUSPEND]
        return min(days, default=None)


class DriftState(_Kept):
    """The whole file."""

    schema_version: int = 1
    model_digest: str
    """Of the model that novelty and abstention belong to; empty without one."""
    descriptors_digest: str
    block_seams: int
    lines: dict[str, LineDrift] = Field(default_factory=dict)


def drift_path(ws: Workspace) -> Path:
    """Where the state is kept."""
    return ws.health_dir / "drift.json"


def read_drift(ws: Workspace) -> DriftState | None:
    """Read the state; None when there is none yet.

    Raises
    ------
    StorageProblem
        Not readable.
    """
    path = drift_path(ws)
    with storage_errors(path):
        if not path.exists():
            return None
        data = path.read_bytes()
    try:
        return DriftState.model_validate_json(data)
    except ValidationError as problem:
        raise StorageProblem(
            f"the state of the drift sequence is not readable: {problem.errors()[0]['msg']}",
            where=str(path),
            do="restore it from a copy; until then labels of every line are suspended",
        ) from None


def write_drift(ws: Workspace, state: DriftState) -> None:
    """Keep the state; the caller holds the workspace.

    Raises
    ------
    StorageProblem
        Disk full, read-only or failing.
    """
    write_bytes_atomically(drift_path(ws), (state.model_dump_json(indent=1) + "\n").encode("utf-8"))


def drift_suspended(ws: Workspace) -> dict[str, tuple[tuple[datetime, datetime | None], ...]]:
    """From when until when each line is suspended; None for still.

    Raises
    ------
    StorageProblem
        The state is not readable.
    """
    state = read_drift(ws)
    found: dict[str, tuple[tuple[datetime, datetime | None], ...]] = {}
    for line, own in (state.lines if state is not None else {}).items():
        spans: list[tuple[date | None, date | None]] = [
            *((restart.suspended_since, restart.from_day) for restart in own.restarts),
            (own.suspended_since, None),
        ]
        if any(since is not None for since, _ in spans):
            found[line] = tuple(
                (_midnight(since), _midnight(until) if until is not None else None)
                for since, until in spans
                if since is not None
            )
    return found


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)

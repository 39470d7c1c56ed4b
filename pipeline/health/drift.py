"""The stage *drift*: whether production still looks like the period that the line was judged well in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from seamtell.features.descriptors import registry
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.trusted_model import trusted_model
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.health.drift_blocks import SeenSeams, blocks_of, seen_by_month, together
from seamtell.pipeline.health.drift_evidence import Budget, line_evidence, new_alarms
from seamtell.pipeline.health.drift_state import (
    Alarm,
    DriftLevel,
    DriftState,
    LineDrift,
    Restart,
    Stream,
    drift_path,
    read_drift,
    write_drift,
)
from seamtell.pipeline.health.summary import write_health
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import HealthSettings, Settings, indication_settings, read_settings
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["DriftResult", "budget_of", "drift", "restart_drift"]


@dataclass(frozen=True)
class DriftResult:
    """Where the sequence stands.

    Parameters
    ----------
    state : DriftState
    new_blocks : mapping of str to int
        Blocks counted in this run, by line.
    new_alarms : mapping of str to tuple of Alarm
        Levels reached in this run, by line.
    budget : Budget
    without_model : str
        Why novelty and abstention are not watched; empty when they are.
    """

    state: DriftState
    new_blocks: dict[str, int]
    new_alarms: dict[str, tuple[Alarm, ...]]
    budget: Budget
    without_model: str


def budget_of(settings: HealthSettings, lines: int) -> Budget:
    """The stated budget, shared by the streams of so many lines."""
    return Budget(
        settings.drift_reference_blocks,
        settings.drift_note_blocks,
        settings.drift_review_blocks,
        settings.drift_suspend_blocks,
        max(lines, 1) * len(Stream),
    )


def drift(ws: Workspace, *, now: datetime) -> DriftResult:
    """Count the whole blocks that the store holds beyond those counted, and judge every stream.

    Parameters
    ----------
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput
        The store is empty, or another model or other descriptors made the state.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    settings = read_settings(ws.settings_path)
    if not read_manifest(ws.traces_dir).n_seams:
        raise BadInput(
            "the store holds no seams", where=str(ws.traces_dir), do="run 'seamtell ingest PATH' first"
        )
    with workspace_lock(ws):
        decider = _decider(ws, settings, now)
        state = read_drift(ws) or _empty(decider, settings.health)
        _require_same_basis(ws, state, decider)
        counted = _counted(ws, decider, state)
        budget = budget_of(settings.health, len(counted))
        fresh = {line: _alarms(own, budget) for line, own in counted.items()}
        lines = {
            line: own.model_copy(update={"alarms": (*own.alarms, *fresh[line])})
            for line, own in counted.items()
        }
        kept = state.model_copy(update={"lines": lines})
        write_drift(ws, kept)
    write_health(ws, now=now)
    before = {line: len(own.blocks) for line, own in state.lines.items()}
    added = {line: len(own.blocks) - before.get(line, 0) for line, own in lines.items()}
    return DriftResult(kept, added, fresh, budget, decider.trusted.explanation)


def restart_drift(
    ws: Workspace, *, by: str, reason: str, line: str | None = None, now: datetime
) -> DriftState:
    """Begin the sequence of one line, or of all, anew: a new reference, and labels from there on.

    Raises
    ------
    BadInput
        No name, no reason, no such line, or no sequence yet; or one line only after the model changed.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    if not by.strip() or not reason.strip():
        raise BadInput(
            "a restart needs a name and a reason", where="drift --restart", do="say --by NAME --reason TEXT"
        )
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        state = read_drift(ws)
        if state is None or (line is not None and line not in state.lines):
            what = "no sequence yet" if state is None else f"no line '{line}' in the sequence"
            raise BadInput(what, where="drift --restart", do="run 'seamtell drift' first, or mend the line")
        decider = _decider(ws, settings, now)
        if line is not None:
            _require_same_basis(ws, state, decider)
        basis = state.model_copy(update=_empty(decider, settings.health).model_dump(exclude={"lines"}))
        lines = {
            name: _restarted(own, by, reason, now) if line in (None, name) else own
            for name, own in state.lines.items()
        }
        kept = (basis if line is None else state).model_copy(update={"lines": lines})
        write_drift(ws, kept)
    write_health(ws, now=now)
    return kept


def _restarted(own: LineDrift, by: str, reason: str, now: datetime) -> LineDrift:
    entry = Restart(
        at=now,
        by=by,
        reason=reason,
        from_day=own.next_day,
        was=own.level,
        suspended_since=own.suspended_since,
    )
    return LineDrift(from_day=own.next_day, restarts=(*own.restarts, entry))


def _decider(ws: Workspace, settings: Settings, now: datetime) -> Decider:
    limits = read_limits(ws.limits_path)
    return Decider(
        limits,
        indication_settings(settings.describe),
        settings.review,
        trusted_model(ws, settings=settings, limits_digest=limits.digest, now=now),
        SeamStore(ws.traces_dir).conflicts(),
    )


def _empty(decider: Decider, settings: HealthSettings) -> DriftState:
    return DriftState(
        model_digest=decider.trusted.digest,
        descriptors_digest=registry.schema_digest(),
        block_seams=settings.drift_block_seams,
    )


def _require_same_basis(ws: Workspace, state: DriftState, decider: Decider) -> None:
    for what, was, holds in (
        ("model at work", state.model_digest, decider.trusted.digest),
        ("descriptors", state.descriptors_digest, registry.schema_digest()),
    ):
        if was != holds:
            raise BadInput(
                f"the sequence was begun with another {what}: '{was[:12]}', now '{holds[:12]}'",
                where=str(drift_path(ws)),
                do="look at what changed, then 'seamtell drift --restart --by NAME --reason TEXT'",
            )


def _counted(ws: Workspace, decider: Decider, state: DriftState) -> dict[str, LineDrift]:
    """Every line with the blocks that are whole now."""
    lines = dict(state.lines)
    first = min((own.next_day for own in lines.values()), default=None)
    since = None if first is None else datetime.combine(first, time(), UTC)
    carried: SeenSeams | None = None
    for month, is_last in _with_last(seen_by_month(ws, decider, since)):
        carried = month if carried is None else together([carried, month])
        newest: date = carried.seams["day"].max()
        # The newest day may not be over; of an earlier month every day is.
        last = newest if is_last else newest + timedelta(days=1)
        for line, start in carried.seams.groupby("line")["day"].min().items():
            own = lines.get(str(line), LineDrift(from_day=start))
            blocks = blocks_of(carried, str(line), own.next_day, last, state.block_seams)
            lines[str(line)] = own.model_copy(update={"blocks": (*own.blocks, *blocks)})
        carried = _left_over(carried, lines)
    return lines


def _left_over(seen: SeenSeams, lines: dict[str, LineDrift]) -> SeenSeams:
    """Days that no block has."""
    kept = [
        frame[frame["day"] >= frame["line"].map({line: own.next_day for line, own in lines.items()})]
        for frame in (seen.seams, seen.indications)
    ]
    return SeenSeams(*kept)


def _with_last(months: Iterable[SeenSeams]) -> Iterable[tuple[SeenSeams, bool]]:
    held: SeenSeams | None = None
    for month in months:
        if held is not None:
            yield held, False
        held = month
    if held is not None:
        yield held, True


def _alarms(own: LineDrift, budget: Budget) -> tuple[Alarm, ...]:
    if own.level is DriftLevel.SUSPEND:
        return ()  # until a restart nothing graver can be said
    found = line_evidence(own.blocks, budget.reference_blocks)
    return new_alarms(found, own.blocks, own.alarms, budget)

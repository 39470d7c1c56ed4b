"""The aliases of the registered model follow the approval log, whatever happened in between.

``approved``, ``superseded`` and ``withdrawn`` each point at the model that the log last
put into that state. A command that was killed between log and registry, a server that
was down, or a person who moved an alias by hand: the next push mends it from the log.
"""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.sign_off.never_approved import refuse_physics_only
from seamtell.pipeline.sign_off.states import ModelState, standings
from seamtell.pipeline.tracking.outbox import ItemKind, SpooledItem, Waiting
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    from seamtell.pipeline.tracking.server import TrackingServer

__all__ = ["STATE_ALIASES", "mend_aliases", "wanted_aliases"]

STATE_ALIASES = (ModelState.APPROVED, ModelState.SUPERSEDED, ModelState.WITHDRAWN)
"""States of the log that are aliases of the registered model, each under its own name."""


def wanted_aliases(entries: tuple[LogEntry, ...]) -> dict[str, LogEntry | None]:
    """For each state, the approval of the model that came into it last; None when no model is in it."""
    found: dict[str, LogEntry | None] = {}
    for state in STATE_ALIASES:
        inside = [one for one in standings(entries).values() if one.state is state]
        last = max(inside, key=lambda one: one.last.seq, default=None)
        found[state.value] = last.approval if last else None
    return found


def mend_aliases(ws: Workspace, server: TrackingServer) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Point every alias where the log says; returns the aliases that were moved, and what could not be done.

    A log that cannot be trusted moves nothing.

    Raises
    ------
    ServerProblem
    """
    try:
        wanted = wanted_aliases(read_log(ws))
    except SeamtellError as problem:
        return (), (str(problem),)
    have = server.alias_digests()
    moved: list[str] = []
    problems: list[str] = []
    for alias, approval in wanted.items():
        usable, why_not = _usable(ws, alias, approval)
        if why_not:
            problems.append(why_not)
        if have.get(alias) == (usable.model_digest if usable else None):
            continue
        if usable is None:
            server.drop_alias(alias)
        else:
            failed = _point(ws, server, alias, usable)
            if failed:
                problems.append(failed)
                continue
        moved.append(alias)
    return tuple(moved), tuple(problems)


def _usable(ws: Workspace, alias: str, approval: LogEntry | None) -> tuple[LogEntry | None, str]:
    """The approval, or None for a model that the registry cannot or must not hold under the alias."""
    if approval is None:
        return None, ""
    if alias == ModelState.APPROVED:
        try:
            refuse_physics_only(ws, approval.model_id)
        except SeamtellError as problem:
            return None, str(problem)
    elif not (ws.models_dir / approval.model_id).is_dir():
        return None, ""
    return approval, ""


def _point(ws: Workspace, server: TrackingServer, alias: str, approval: LogEntry) -> str:
    from seamtell.pipeline.tracking.server import NotSent

    item = SpooledItem(
        kind=ItemKind.ALIAS,
        model_id=approval.model_id,
        model_digest=approval.model_digest,
        recorded_at=approval.time.astimezone(UTC).isoformat(),
        alias=alias,
    )
    try:
        server.deliver(Waiting(ws.tracking_dir, item))
    except NotSent as problem:
        return str(problem)
    return ""

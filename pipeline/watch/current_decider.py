"""The decider that holds now: whether the model can be trusted is asked again before every batch.

Asking in full reads the log, the signed copies and the model. So it is done when one of these
files was touched, when the day changes, and once a minute in any case; else the answer stands.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.trusted_model import TrustedModel, trusted_model
from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.health.suspension import NOTHING_SUSPENDED, Suspensions
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import Settings, indication_settings, read_settings, settings_digest
from seamtell.pipeline.sign_off.approval_log import log_head
from seamtell.pipeline.store.rejected import TABLE_FILE, open_conflicts
from seamtell.pipeline.version import software_version
from seamtell.pipeline.watch.journal_folders import Basis
from seamtell.pipeline.workspace import Workspace

__all__ = ["LIVE_BUDGET_S", "CurrentDecider", "Deciding"]

LIVE_BUDGET_S = 5.0
"""Time that the model has for one batch; then the limit rule decides alone until something is changed."""

_RECHECK_S = 60.0
_SETTLED_NS = 1_000_000_000
"""A file touched less than this before it was read may be touched again without its times telling."""

_Stamps = tuple[tuple[str, int, int, int, int], ...]


@dataclass(frozen=True, eq=False)
class Deciding:
    """What decides, and what it rests on.

    Parameters
    ----------
    decider : Decider
    basis : Basis
    limits : Limits
    explanation : str
        Why the limit rule decides alone, and what to do; empty when a model labels.
    suspensions : Suspensions
        Lines and times whose labels are suspended.
    """

    decider: Decider
    basis: Basis
    limits: Limits
    explanation: str
    suspensions: Suspensions = NOTHING_SUSPENDED


class CurrentDecider:
    """Gives the decider that holds at a moment.

    Parameters
    ----------
    ws : Workspace
    """

    def __init__(self, ws: Workspace) -> None:
        self._ws = ws
        self._deciding: Deciding | None = None
        self._stamps: _Stamps | None = None
        self._checked_s = 0.0

    def at(self, now: datetime) -> Deciding:
        """The decider that holds at `now`.

        Raises
        ------
        BadInput
            Limits or settings cannot be read: nothing can be decided until they can.
        StorageProblem
            A file cannot be read.
        """
        stamps = _stamps(self._ws)
        day = now.astimezone(UTC).date()
        held = self._deciding
        fresh = time.monotonic() - self._checked_s < _RECHECK_S
        if held is not None and fresh and stamps == self._stamps and held.basis.day == day:
            return held
        newest_ns = max((max(stamp[2:4]) for stamp in stamps), default=0)
        self._deciding = self._asked(now)
        self._stamps = stamps if time.time_ns() - newest_ns > _SETTLED_NS else None
        self._checked_s = time.monotonic()
        return self._deciding

    def _asked(self, now: datetime) -> Deciding:
        ws = self._ws
        settings, limits = read_settings(ws.settings_path), read_limits(ws.limits_path)
        trusted = trusted_model(ws, settings=settings, limits_digest=limits.digest, now=now)
        conflicts = open_conflicts(ws.rejected_dir)
        basis = _basis(ws, trusted, limits, now)
        suspensions, sentences = suspensions_of(ws, settings.health, now=now)
        explanation = ". ".join(text for text in (trusted.explanation, *sentences) if text)
        held = self._deciding
        if held is not None and held.basis == basis and held.decider.conflicts == conflicts:
            # It may know of the model that it hangs, which a new one would have to learn again.
            return replace(held, suspensions=suspensions, explanation=explanation)
        decider = _decider(limits, settings, trusted, conflicts)
        return Deciding(decider, basis, limits, explanation, suspensions)


def _decider(limits: Limits, settings: Settings, trusted: TrustedModel, conflicts: frozenset[str]) -> Decider:
    return Decider(
        limits,
        indication_settings(settings.describe),
        settings.review,
        trusted,
        conflicts,
        budget_s=LIVE_BUDGET_S,
    )


def _basis(ws: Workspace, trusted: TrustedModel, limits: Limits, now: datetime) -> Basis:
    log_seq, log_digest = log_head(ws)
    return Basis(
        day=now.astimezone(UTC).date(),
        software_version=software_version(),
        model_id=trusted.model_id,
        model_digest=trusted.digest,
        model_reason=trusted.reason.value if trusted.reason is not None else "",
        limits_digest=limits.digest,
        settings_digest=settings_digest(ws),
        deviation=trusted.deviation,
        log_seq=log_seq,
        log_digest=log_digest,
    )


def _stamps(ws: Workspace) -> _Stamps:
    """Sizes, times and identities of all files that the answer depends on."""
    found = []
    for path in _files(ws):
        try:
            at = path.stat()
        except OSError:
            continue
        found.append((str(path), at.st_size, at.st_mtime_ns, at.st_ctime_ns, at.st_ino))
    return tuple(found)


def _files(ws: Workspace) -> Iterator[Path]:
    yield from (ws.settings_path, ws.limits_path, ws.log_path, ws.rejected_dir / TABLE_FILE)
    for folder in (ws.keys_dir, ws.evidence_dir, ws.models_dir, ws.health_dir):
        for here, _, names in os.walk(folder):
            yield from (Path(here, name) for name in sorted(names))

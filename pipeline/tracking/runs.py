"""Experiment tracking: every training and evaluation, on a server or in a file of the workspace.

One road for all: a run is spooled to the outbox (`outbox`), then sent
(`server`). When the server cannot be reached, the run waits there and
nothing else is held up; ``seamtell track push`` sends it later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import make_folder, storage_errors
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.sign_off.never_approved import refuse_physics_only
from seamtell.pipeline.tracking.outbox import (
    ItemKind,
    SpooledItem,
    mark_sent,
    outbox_dir,
    spool,
    waiting,
)
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "APPROVED",
    "CANDIDATE",
    "PHYSICS_ONLY_TAG",
    "SUPERSEDED",
    "TRIAL",
    "PushResult",
    "RunRecord",
    "follow_log",
    "load_tracked_model",
    "push",
    "record_evaluation",
    "record_run",
    "set_alias",
]

CANDIDATE = "candidate"
"""Alias of the newest trained model."""
APPROVED = "approved"
"""Alias of the model that our own sign-off approved."""
SUPERSEDED = "superseded"
"""Alias of the model that was approved before."""
TRIAL = "trial"
"""Alias of the newest model that was learnt from simulation alone."""
PHYSICS_ONLY_TAG = "physics_only"
"""Tag of the run and of the registered version of such a model."""

_LOCK_WAIT_S = 60.0


@dataclass(frozen=True)
class RunRecord:
    """One training run, as it is to be kept.

    Parameters
    ----------
    model_id, model_digest : str
    recorded_at : datetime
        Timezone-aware.
    params : mapping of str to str
    metrics : mapping of str to float
        Figures that are not finite are left out.
    digests : mapping of str to str
        Data, configuration and other digests; kept as tags.
    files : mapping of str to bytes
        Relative path to content: figures, tables, reports.
    """

    model_id: str
    model_digest: str
    recorded_at: datetime
    params: Mapping[str, str] = field(default_factory=dict)
    metrics: Mapping[str, float] = field(default_factory=dict)
    digests: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True)
class PushResult:
    """What a push sent and what still waits.

    Parameters
    ----------
    sent : tuple of str
        Names of the items sent now.
    waiting : tuple of str
        Names of the items that still wait.
    problem : str
        Why something still waits or an alias does not follow the log; empty when all is well.
    mended : tuple of str
        Aliases that were moved to where the approval log has them.
    """

    sent: tuple[str, ...]
    waiting: tuple[str, ...]
    problem: str = ""
    mended: tuple[str, ...] = ()


def record_run(ws: Workspace, settings: Settings, run: RunRecord, alias: str = CANDIDATE) -> bool:
    """Keep a training run with its model, and give the model an alias.

    Parameters
    ----------
    alias : str
        `CANDIDATE`, or `TRIAL` for a model that was learnt from simulation alone.

    Returns
    -------
    bool
        Whether the server has it; False when it waits in the outbox.
    """
    return _keep(ws, settings, _item(ItemKind.TRAINING, run, alias=alias), run.files)


def record_evaluation(
    ws: Workspace,
    settings: Settings,
    model_id: str,
    *,
    metrics: Mapping[str, float],
    files: Mapping[str, bytes | Path],
    now: datetime,
    digests: Mapping[str, str] | None = None,
) -> bool:
    """Add the figures and reports of an evaluation to the run of its model.

    Parameters
    ----------
    metrics : mapping of str to float
        Letters, digits, ``_-. /`` in the names; figures that are not finite are left out.
    files : mapping of str to bytes or Path
        Name below ``evaluation/`` on the server to content, or to the file to read.

    Returns
    -------
    bool
        Whether the server has it; False when it waits in the outbox.
    """
    contents = {
        f"evaluation/{name}": source.read_bytes() if isinstance(source, Path) else source
        for name, source in files.items()
    }
    run = RunRecord(
        model_id, _digest(ws, model_id), now, metrics=metrics, digests=digests or {}, files=contents
    )
    return _keep(ws, settings, _item(ItemKind.EVALUATION, run), contents)


def set_alias(ws: Workspace, settings: Settings, model_id: str, alias: str, *, now: datetime) -> bool:
    """Point `alias` of the registered model at the version that holds `model_id`.

    Returns
    -------
    bool
        Whether the server did so; False when it waits in the outbox.

    Raises
    ------
    Refused
        `APPROVED`, for a model that was learnt from simulation alone.
    """
    if alias == APPROVED:
        refuse_physics_only(ws, model_id)
    run = RunRecord(model_id, _digest(ws, model_id), now)
    return _keep(ws, settings, _item(ItemKind.ALIAS, run, alias=alias), {})


def follow_log(ws: Workspace, settings: Settings) -> bool:
    """Let the aliases of the registered model follow the approval log.

    Returns
    -------
    bool
        Whether they do now; if not, the next push tries again.
    """
    return not push(ws, settings).problem


def push(ws: Workspace, settings: Settings | None = None) -> PushResult:
    """Send what waits in the outbox, oldest first, then mend the aliases from the approval log.

    Sending twice changes nothing.

    Parameters
    ----------
    settings : Settings, optional
        Default: as the workspace has them now.

    Raises
    ------
    BadInput
        An item of the outbox is not readable or was changed.
    """
    from filelock import FileLock, Timeout

    from seamtell.pipeline.settings import read_settings

    make_folder(ws.tracking_dir)
    lock = FileLock(ws.tracking_dir / ".lock")
    with storage_errors(ws.tracking_dir):
        try:
            lock.acquire(timeout=_LOCK_WAIT_S)
        except Timeout:
            return PushResult((), _names(ws), "another command is sending to the tracking server")
    try:
        return _push_locked(ws, settings or read_settings(ws.settings_path))
    finally:
        lock.release()


def load_tracked_model(ws: Workspace, settings: Settings, alias: str = APPROVED) -> Any:
    """Load the registered model that `alias` points at, as an MLflow pyfunc.

    Its ``predict`` takes a table of the model's descriptors by name and ``recipe``, and
    gives ``label, p_<class>…, label_set, novelty_p, reason``.

    Raises
    ------
    BadInput
        The server cannot be reached, or knows no such alias.
    """
    from seamtell.pipeline.tracking.server import ServerProblem, load_pyfunc

    try:
        return load_pyfunc(ws, settings.track, alias)
    except ServerProblem as problem:
        raise BadInput(
            str(problem),
            where=f"alias '{alias}'",
            do="train or approve a model, or run 'seamtell track push'",
        ) from None


def _push_locked(ws: Workspace, settings: Settings) -> PushResult:
    from seamtell.pipeline.tracking.aliases import mend_aliases
    from seamtell.pipeline.tracking.server import NotSent, ServerProblem, tracking_server

    todo = waiting(ws)
    if not todo and not ws.log_path.is_file():
        return PushResult((), ())
    sent: list[str] = []
    refused: list[str] = []
    mended: tuple[str, ...] = ()
    try:
        with tracking_server(ws, settings.track) as server:
            for item in todo:
                # What is wrong with one item must not hold up the others.
                try:
                    run_id = server.deliver(item)
                except NotSent as problem:
                    refused.append(str(problem))
                    continue
                mark_sent(ws, item, server=server.name, run_id=run_id)
                sent.append(item.folder.name)
            if ws.log_path.is_file():
                mended, problems = mend_aliases(ws, server)
                refused += problems
    except ServerProblem as problem:
        refused.append(str(problem))
    return PushResult(tuple(sent), _names(ws), "; ".join(refused), mended)


def _keep(ws: Workspace, settings: Settings, item: SpooledItem, files: Mapping[str, bytes]) -> bool:
    with storage_errors(ws.tracking_dir):
        folder = spool(ws, item, files)
    push(ws, settings)
    return not folder.exists()


def _item(kind: ItemKind, run: RunRecord, *, alias: str = "") -> SpooledItem:
    import math

    return SpooledItem(
        kind=kind,
        model_id=run.model_id,
        model_digest=run.model_digest,
        recorded_at=run.recorded_at.astimezone(UTC).isoformat(),
        params=dict(run.params),
        metrics={name: float(value) for name, value in run.metrics.items() if math.isfinite(value)},
        tags=dict(run.digests),
        alias=alias,
    )


def _digest(ws: Workspace, model_id: str) -> str:
    from seamtell.models.model_file import model_digest

    return model_digest(ws.models_dir / model_id)


def _names(ws: Workspace) -> tuple[str, ...]:
    folder = outbox_dir(ws)
    if not folder.is_dir():
        return ()
    return tuple(sorted(p.name for p in folder.iterdir() if p.is_dir() and not p.name.startswith(".")))

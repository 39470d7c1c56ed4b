"""The live mode: complete files in, each seam decided on once and durably, until it is told to stop."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput, WorkspaceBusy
from seamtell.pipeline.files.atomic import make_folder
from seamtell.pipeline.files.locking import held_lock
from seamtell.pipeline.ingest.profile_choice import choose_profile
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.watch.arrivals import Arrivals
from seamtell.pipeline.watch.current_decider import CurrentDecider
from seamtell.pipeline.watch.journal import Journal, KnownFiles
from seamtell.pipeline.watch.news import Listener, Warned, Watching
from seamtell.pipeline.watch.round import Round
from seamtell.pipeline.watch.stored_digests import StoredDigests
from seamtell.pipeline.watch.warm_up import warm_up
from seamtell.pipeline.workspace import Workspace

__all__ = ["WatchPlan", "watch"]

_LOOK_UP_S = 0.25
"""How long a stop, or what waits to be published, can go unnoticed."""


@dataclass(frozen=True)
class WatchPlan:
    """What to watch, and how long.

    Parameters
    ----------
    folder : Path
    profile : str, optional
        As for `ingest`.
    recursive : bool
        Whether folders below count.
    once : bool
        End when what is there is dealt with.
    for_s : float, optional
        End after this time.
    settle_s : float
        How long a file must not change, of which no notification says that it is complete.
    poll_s : float
        Between two searches of the folder.
    patient : bool
        A file has to rest for the settle time in any case.
    """

    folder: Path
    profile: str | None = None
    recursive: bool = False
    once: bool = False
    for_s: float | None = None
    settle_s: float = 1.0
    poll_s: float = 5.0
    patient: bool = False


def watch(
    ws: Workspace,
    plan: WatchPlan,
    *,
    stop: threading.Event,
    hear: Listener,
    clock: Callable[[], datetime],
    on_waiting: Callable[[int], object] = lambda _: None,
) -> None:
    """Decide on every seam that appears in a folder.

    Parameters
    ----------
    ws : Workspace
    plan : WatchPlan
    stop : threading.Event
        Set it to end; what is under way is finished first.
    hear : callable
        Told the news, in this thread.
    clock : callable
        The time, timezone-aware.
    on_waiting : callable
        Told now and then how many files wait.

    Raises
    ------
    BadInput
        No such folder, one that belongs to the workspace, or broken settings, limits or profile.
    WorkspaceBusy
        Another watch works on this workspace; with ``once``, also any other writer.
    StorageProblem
        The workspace cannot be written; with ``once``, also later.
    """
    read_settings(ws.settings_path)
    chosen = choose_profile(ws, plan.profile)
    folder = _checked_folder(ws, plan)
    with _only_watch(ws), Journal(ws.watch_dir) as journal:
        stored, current = StoredDigests(ws.traces_dir), CurrentDecider(ws)
        stored.refresh()
        deciding = current.at(clock())
        warm_up(deciding.decider)
        one_round = Round(ws, plan.profile, journal, stored, current, clock, hear)
        with (
            closing(KnownFiles(journal.path)) as known,
            Arrivals(
                folder,
                known,
                recursive=plan.recursive,
                settle_s=plan.settle_s,
                poll_s=plan.poll_s,
                patient=plan.patient,
            ) as arrivals,
        ):
            hear(Watching(str(folder), chosen.name, deciding.basis.model_id, deciding.explanation))
            if not arrivals.notified:
                hear(Warned(f"{folder}: nothing tells of new files here; searched every {plan.poll_s:g} s"))
            _run(plan, one_round, arrivals, stop, hear, on_waiting)


def _run(
    plan: WatchPlan,
    one_round: Round,
    arrivals: Arrivals,
    stop: threading.Event,
    hear: Listener,
    on_waiting: Callable[[int], object],
) -> None:
    until_s = float("inf") if plan.for_s is None else time.monotonic() + plan.for_s
    deciding, publishing, finding = (_Troubles(hear, raising=plan.once) for _ in range(3))
    while not stop.is_set() and time.monotonic() < until_s:
        with deciding.told():
            deciding.over(one_round.deal_with(arrivals.take(one_round.most_files, _LOOK_UP_S)))
        with publishing.told():
            publishing.over(one_round.publish_when_due())
        if arrivals.folder_is_gone:
            finding.tell(f"{arrivals.folder}: no such folder any more; waiting for it to come back")
        finding.over(not arrivals.folder_is_gone)
        on_waiting(arrivals.waiting)
        if plan.once and arrivals.exhausted:
            break
    with publishing.told():
        one_round.publish()


class _Troubles:
    """What can pass is told once and tried again; the poll finds the files concerned again."""

    def __init__(self, hear: Listener, *, raising: bool) -> None:
        self._hear = hear
        self._raising = raising
        self._told = ""

    @contextmanager
    def told(self) -> Iterator[None]:
        try:
            yield
        except SeamtellError as problem:
            if self._raising:
                raise
            self.tell(str(problem))

    def over(self, is_over: bool) -> None:
        if is_over:
            self._told = ""

    def tell(self, text: str) -> None:
        if text != self._told:
            self._hear(Warned(text))
            self._told = text


def _checked_folder(ws: Workspace, plan: WatchPlan) -> Path:
    folder = plan.folder.absolute()
    if not folder.is_dir():
        raise BadInput("no such folder", where=str(plan.folder), do="name the folder the trace files go to")
    real, root = folder.resolve(), ws.root.resolve()
    inside = [root / name for name in ("traces", "rejected", "sections", "decisions", "watch", "models")]
    if any(real.is_relative_to(one) for one in inside) or (plan.recursive and root.is_relative_to(real)):
        raise BadInput(
            "this folder holds files of the workspace itself",
            where=str(plan.folder),
            do="let the traces go to a folder of their own",
        )
    return folder


@contextmanager
def _only_watch(ws: Workspace) -> Iterator[None]:
    make_folder(ws.watch_dir)
    busy = WorkspaceBusy(
        "another 'seamtell watch' works on this workspace",
        where=str(ws.root),
        do="end it first; one watch takes a folder with all below it by --recursive",
    )
    with held_lock(ws.watch_dir / ".lock", busy):
        yield

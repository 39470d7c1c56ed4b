"""Which files of a watched folder are there and complete.

A file counts as complete when the operating system says that its writer closed it or that it was
moved in, else when two looks at least the settle time apart find the same size and times. The file
server's clock is not asked. A slow poll finds what no notification tells of: files that were
there before, network mounts, lost events.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum, auto
from pathlib import Path

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.watch.notifications import Notifications
from seamtell.pipeline.watch.trace_files import FileStamp, files_below, is_trace_name, stamp_of

__all__ = ["MOST_WAITING", "Arrival", "Arrivals"]

MOST_WAITING = 1024
"""Files known by name at once; whoever finds more of them waits."""

_PATIENCE = 10
"""Settle times without a change for a file that was seen to begin, and whose closing will be told."""

_SCAN_SHARE = 20
"""A poll that takes long is made rarer: at most one part in so many of the time goes into it."""


@dataclass(frozen=True)
class Arrival:
    """A complete file.

    Parameters
    ----------
    path : Path
    stamp : FileStamp
        When it was found complete.
    complete_s : float
        When that was, on the clock of `time.perf_counter`.
    """

    path: Path
    stamp: FileStamp
    complete_s: float


class _Found(Enum):
    BY_SEARCH = auto()
    BEGUN = auto()
    COMPLETE = auto()


@dataclass
class _Candidate:
    stamp: FileStamp | None
    since_s: float
    settle_s: float


class Arrivals:
    """Complete files of a folder in the order in which they were found.

    Parameters
    ----------
    folder : Path
    known : callable
        Whether a file of this path and stamp was dealt with; called in the polling thread as well.
    recursive : bool
        Whether folders below count.
    settle_s : float
        Between the two looks at a file of which no notification says that it is complete.
    poll_s : float
        Between two searches of the whole folder.
    patient : bool
        Whether a file has to rest for the settle time even when it was closed or moved in: for
        writers that close a file and open it again.
    """

    def __init__(
        self,
        folder: Path,
        known: Callable[[Path, FileStamp], bool],
        *,
        recursive: bool = False,
        settle_s: float = 1.0,
        poll_s: float = 5.0,
        patient: bool = False,
    ) -> None:
        self.folder = folder
        self.recursive = recursive
        self._known = known
        self._settle_s = settle_s
        self._poll_s = poll_s
        self._patient = patient
        self._heard: queue.Queue[tuple[Path, _Found, float]] = queue.Queue(MOST_WAITING)
        self._waiting: dict[Path, _Candidate] = {}
        self._ready: dict[Path, float] = {}
        self._stop = threading.Event()
        self._look = threading.Event()
        self._searched = threading.Event()
        self._gone = False
        self._notifications = Notifications(folder, recursive, self._hear)
        self._poll = threading.Thread(target=self._keep_searching, name="seamtell-poll", daemon=True)

    def __enter__(self) -> Arrivals:
        self._notifications.start()
        self._poll.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._look.set()
        self._notifications.stop()
        self._poll.join()

    @property
    def notified(self) -> bool:
        """Whether the operating system tells of new files; else only the poll finds them."""
        return self._notifications.active

    @property
    def folder_is_gone(self) -> bool:
        """Whether the last search found no folder; it is looked for again."""
        return self._gone

    @property
    def waiting(self) -> int:
        """Files that are known by name and not dealt with."""
        return self._heard.qsize() + len(self._waiting) + len(self._ready)

    @property
    def exhausted(self) -> bool:
        """Whether the folder was searched to its end once, and nothing found in it waits."""
        return self._searched.is_set() and not self.waiting

    def take(self, most: int, timeout_s: float) -> list[Arrival]:
        """At most `most` complete files; waits up to `timeout_s` seconds for the first."""
        until = time.perf_counter() + timeout_s
        while True:
            self._hear_out()
            self._look_again()
            taken = self._take_ready(most)
            left = until - time.perf_counter()
            if taken or left <= 0:
                return taken
            self._wait(min(left, self._next_look_s()))

    @property
    def _has_room(self) -> bool:
        return len(self._waiting) + len(self._ready) < MOST_WAITING

    def _wait(self, seconds: float) -> None:
        if not self._has_room:
            self._stop.wait(seconds)
            return
        with suppress(queue.Empty):
            self._note(*self._heard.get(timeout=max(seconds, 0.001)))

    def _hear_out(self) -> None:
        while self._has_room:
            try:
                self._note(*self._heard.get_nowait())
            except queue.Empty:
                return

    def _note(self, path: Path, found: _Found, at_s: float) -> None:
        if found is _Found.COMPLETE and self._patient:
            if path not in self._ready:
                self._waiting[path] = _Candidate(stamp_of(path), time.perf_counter(), self._settle_s)
        elif found is _Found.COMPLETE:
            self._waiting.pop(path, None)
            self._ready.setdefault(path, at_s)
        elif path not in self._ready:
            candidate = self._waiting.setdefault(
                path, _Candidate(stamp_of(path), time.perf_counter(), self._settle_s)
            )
            if found is _Found.BEGUN and self._notifications.tell_closing:
                candidate.settle_s = _PATIENCE * self._settle_s

    def _look_again(self) -> None:
        now = time.perf_counter()
        for path, candidate in list(self._waiting.items()):
            if now - candidate.since_s < candidate.settle_s:
                continue
            stamp = stamp_of(path)
            if stamp is None:
                del self._waiting[path]
            elif stamp == candidate.stamp:
                del self._waiting[path]
                self._ready[path] = now
            else:
                candidate.stamp, candidate.since_s = stamp, now

    def _next_look_s(self) -> float:
        due = min((one.since_s + one.settle_s for one in self._waiting.values()), default=None)
        return 3600.0 if due is None else max(due - time.perf_counter(), 0.0)

    def _take_ready(self, most: int) -> list[Arrival]:
        taken: list[Arrival] = []
        for path in list(self._ready)[:most]:
            complete_s = self._ready.pop(path)
            stamp = stamp_of(path)
            if stamp is not None and not self._known(path, stamp):
                taken.append(Arrival(path, stamp, complete_s))
        return taken

    def _hear(self, path: Path, complete: bool) -> None:
        """Take a notification; called in a thread of the operating system's notifications."""
        if not is_trace_name(path.name):
            return
        try:
            found = _Found.COMPLETE if complete else _Found.BEGUN
            self._heard.put_nowait((path, found, time.perf_counter()))
        except queue.Full:
            self._look.set()  # the poll finds it, as soon as there is room

    def _keep_searching(self) -> None:
        while not self._stop.is_set():
            begun = time.perf_counter()
            self._look.clear()
            with suppress(SeamtellError):  # the journal cannot be asked now; whoever writes it tells
                self._search()
            took_s = time.perf_counter() - begun
            self._look.wait(max(self._poll_s, _SCAN_SHARE * took_s))

    def _search(self) -> None:
        gone = not self.folder.is_dir()
        if self._gone and not gone:
            self._notifications.restart()
        self._gone = gone
        for path in files_below(self.folder, self.recursive):
            stamp = stamp_of(path)
            if stamp is None or self._known(path, stamp):
                continue
            if not self._put(path):
                return
        self._searched.set()

    def _put(self, path: Path) -> bool:
        """Wait for room; False when there is nothing more to do."""
        while not self._stop.is_set():
            try:
                self._heard.put((path, _Found.BY_SEARCH, time.perf_counter()), timeout=0.2)
            except queue.Full:
                continue
            return True
        return False

"""What the operating system tells of a folder: a file began, was closed by its writer, or was moved in."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from watchdog.events import FileSystemEvent, FileSystemEventHandler
    from watchdog.observers.api import BaseObserver

__all__ = ["Notifications"]


class Notifications:
    """Notifications of one folder, as far as the file system gives any.

    Parameters
    ----------
    folder : Path
    recursive : bool
        Whether folders below count.
    on_file : callable
        Told the path, and whether the file is complete: closed by its writer or moved in.
        Called in another thread.
    """

    def __init__(self, folder: Path, recursive: bool, on_file: Callable[[Path, bool], None]) -> None:
        self._folder = folder
        self._recursive = recursive
        self._on_file = on_file
        self._observer: BaseObserver | None = None

    @property
    def active(self) -> bool:
        """Whether the operating system listens for us."""
        return self._observer is not None

    @property
    def tell_closing(self) -> bool:
        """Whether the closing of a file that was seen to begin is told as well."""
        return self._observer is not None and sys.platform.startswith("linux")

    def start(self) -> None:
        """Begin to listen; where that is not possible the poll has to do."""
        observer = _new_observer()
        observer.schedule(_handler(self._on_file), str(self._folder), recursive=self._recursive)
        # The folder may be gone again, or the limit of the system for watches reached.
        with suppress(OSError):
            observer.start()
            self._observer = observer

    def stop(self) -> None:
        """Listen no more."""
        observer, self._observer = self._observer, None
        if observer is not None:
            observer.stop()
            observer.join()

    def restart(self) -> None:
        """Listen to a folder that came back under the same name."""
        self.stop()
        self.start()


def _new_observer() -> BaseObserver:
    if sys.platform.startswith("linux"):
        from watchdog.observers.inotify import InotifyObserver

        # In full, a file that is moved in from elsewhere is told from one that begins to be written.
        return InotifyObserver(generate_full_events=True)
    from watchdog.observers import Observer

    return Observer()


def _handler(on_file: Callable[[Path, bool], None]) -> FileSystemEventHandler:
    from watchdog.events import (
        EVENT_TYPE_CLOSED,
        EVENT_TYPE_CREATED,
        EVENT_TYPE_MOVED,
        FileSystemEventHandler,
    )

    class Handler(FileSystemEventHandler):
        def on_any_event(self, event: FileSystemEvent) -> None:
            if event.is_directory:
                return
            if event.event_type == EVENT_TYPE_MOVED:
                if event.dest_path:
                    on_file(Path(str(event.dest_path)), True)
            elif event.event_type in (EVENT_TYPE_CREATED, EVENT_TYPE_CLOSED):
                on_file(Path(str(event.src_path)), event.event_type == EVENT_TYPE_CLOSED)

    return Handler()

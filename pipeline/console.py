"""What the command line prints, and the exit codes it ends with.

Every command prints through here: tables without boxes, progress on a terminal
only, warnings and errors on standard error. With ``--json`` the one result
document goes to standard output and nothing else does.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from enum import IntEnum
from typing import Any, TypeVar

__all__ = [
    "ExitCode",
    "caution",
    "counting",
    "error",
    "next_step",
    "print_json",
    "print_table",
    "progress",
    "say",
    "warn",
]

T = TypeVar("T")


class ExitCode(IntEnum):
    """How a command ended."""

    DONE = 0
    INTERNAL = 1
    """A fault of seamtell itself."""
    USAGE = 2
    """The call's words are off."""
    DONE_WITH_REJECTIONS = 3
    """Done; some input was rejected and is listed by ``seamtell rejected``."""
    BAD_INPUT = 4
    """Nothing was done; the message says what to put right."""
    REFUSED = 5
    """Refused on purpose: a criterion failed, a digest did not match."""
    BUSY = 6
    """Another command holds the workspace."""
    STORAGE = 7
    """The disk is full, read-only or unreadable."""
    DONE_WITHOUT_TRACKING = 8
    """Done; the tracking server could not be reached, ``seamtell track push`` sends it later."""
    NOT_VERIFIED = 9
    """``seamtell verify`` found something that is not as it was signed, and names it."""
    CLUSTER = 10
    """Workers of a cluster died or its scheduler was lost; the same command goes on with what is finished."""


CAUTION = (
    "caution: an aid to a qualified person. The shop's procedure, the governing code and qualified "
    "personnel decide; nothing printed here releases a weld."
)


def _plain(value: object) -> str:
    """Text without control characters, so that no file name or seam id can act on the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in str(value))


def say(text: str = "") -> None:
    """Print one line of result."""
    print(_plain(text))


def warn(text: str) -> None:
    """Print a warning on standard error."""
    print(f"warning: {_plain(text)}", file=sys.stderr)


def error(text: str) -> None:
    """Print an error on standard error."""
    print(f"error: {_plain(text)}", file=sys.stderr)


def caution() -> None:
    """Print the usual caution; every command whose answer could hurt someone ends with it."""
    print(CAUTION)


def next_step(text: str) -> None:
    """Print what to do next, as the last line."""
    print(f"Next: {_plain(text)}")


def print_json(document: Mapping[str, Any] | Sequence[Any]) -> None:
    """Print the one result document of ``--json``."""
    print(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False, default=str))


def print_table(
    columns: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "", right: Sequence[str] = ()
) -> None:
    """Print a table without boxes; columns named in `right` are right-aligned."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, title=title or None, title_justify="left", pad_edge=False)
    for name in columns:
        table.add_column(name, justify="right" if name in right else "left")
    for row in rows:
        table.add_row(*(Text(_plain(cell)) for cell in row))
    # Piped output must not be cut to 80 columns: a script reads it.
    console = Console() if sys.stdout.isatty() else Console(width=240)
    with console.capture() as drawn:
        console.print(table)
    # Printed by ourselves: the library ends the process when the reader has gone away.
    print(drawn.get())


@contextmanager
def progress(items: Iterable[T], label: str, total: int | None = None) -> Iterator[Iterable[T]]:
    """Iterate with one progress bar (rate and time left) on a terminal; silent when piped."""
    with counting(label, total) as count:
        yield _counted(items, count)


def _counted(items: Iterable[T], count: Callable[[int], object]) -> Iterator[T]:
    for item in items:
        yield item
        count(1)


def _unheard(more: int) -> None:
    """Nobody sees the progress."""


@contextmanager
def counting(label: str, total: int | None = None) -> Iterator[Callable[[int], object]]:
    """One progress bar (rate and time left) on a terminal, moved by a call with how many more are done."""
    if not sys.stderr.isatty():
        yield _unheard
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        Task,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class _Rate(TextColumn):
        """Steps a second, once there were any."""

        def render(self, task: Task) -> Text:
            return Text("" if task.speed is None else f"{task.speed:,.0f}/s")

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        _Rate(""),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task(label, total=total)
        yield lambda more: bar.advance(task, more)

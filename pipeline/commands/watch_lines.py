"""How the live mode shows: one status line on a terminal, plain lines when piped, JSON lines for a script."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING

from seamtell.pipeline import console
from seamtell.pipeline.watch.news import (
    FileKnown,
    InputRefused,
    News,
    SeamDecided,
    Warned,
    WatchCounts,
    Watching,
)

if TYPE_CHECKING:
    from rich.status import Status

__all__ = ["Lines", "lines_for"]

_EVENTS = {
    Watching: "watching",
    SeamDecided: "decided",
    FileKnown: "known",
    InputRefused: "refused",
    Warned: "warning",
}


class Lines:
    """Hears the news, counts and prints.

    Parameters
    ----------
    counts : WatchCounts
    as_json : bool
    status : rich.status.Status, optional
        On a terminal: seams that are accepted show there only.
    """

    def __init__(self, counts: WatchCounts, *, as_json: bool, status: Status | None = None) -> None:
        self._counts = counts
        self._as_json = as_json
        self._status = status

    def hear(self, news: News) -> None:
        """Count and print one piece of news."""
        self._counts.count(news)
        if self._as_json:
            document = {"event": _EVENTS[type(news)], **asdict(news)}
            if isinstance(news, Watching):
                document["caution"] = console.CAUTION
            print(json.dumps(document, ensure_ascii=True, allow_nan=False), flush=True)
        else:
            self._print(news)
        sys.stdout.flush()

    def on_waiting(self, files: int) -> None:
        """Show how many files wait."""
        if self._status is not None:
            from rich.text import Text

            self._status.update(Text(status_line(self._counts, files)))

    def _print(self, news: News) -> None:
        if isinstance(news, Watching):
            if news.explanation:
                console.warn(f"the limit rule decides alone: {news.explanation}")
            model = news.model_id or "none, limit rule alone"
            console.say(f"watching {news.folder}, input profile '{news.profile}', model: {model}")
            console.caution()
        elif isinstance(news, SeamDecided):
            if self._status is None or news.verdict != "accept":
                console.say(_seam_line(news))
        elif isinstance(news, FileKnown):
            if self._status is None:
                console.say(f"known {news.file}: every seam in it has its decision")
        elif isinstance(news, InputRefused):
            seam = f" ({news.seam_id})" if news.seam_id else ""
            console.warn(f"{news.file}{seam}: {news.reason}: {news.message}. To do: {news.todo}")
        else:
            console.warn(news.text)


def _seam_line(news: SeamDecided) -> str:
    labels = f", {' '.join(news.labels)}" if news.labels else ""
    reason = f", {news.reason}" if news.reason else ""
    return f"{news.verdict} {news.seam_id}{labels}{reason} ({news.latency_ms:.0f} ms)"


def status_line(counts: WatchCounts, waiting: int) -> str:
    """Sum a run up in one line.

    Examples
    --------
    >>> status_line(WatchCounts(), waiting=2)
    'reject 0  review 0  accept 0  rejected input 0  waiting 2'
    """
    parts = [f"{verdict} {n}" for verdict, n in counts.verdicts.items()]
    parts.append(f"rejected input {counts.rejected + counts.conflicts}")
    parts.append(f"waiting {waiting}")
    median, most = counts.latency_ms(0.5), counts.latency_ms(0.95)
    if median is not None and most is not None:
        parts.append(f"median {median:.0f} ms, 95 % {most:.0f} ms")
    if counts.last_seam:
        parts.append(f"last {counts.last_seam}")
    if counts.warnings:
        parts.append(f"warnings {counts.warnings}")
    # A name from outside must not act on the terminal.
    return "".join(c if c.isprintable() else "?" for c in "  ".join(parts))


@contextmanager
def lines_for(counts: WatchCounts, *, as_json: bool) -> Iterator[Lines]:
    """Lines for where the output goes: a terminal, a pipe, or a script."""
    if as_json or not sys.stdout.isatty():
        yield Lines(counts, as_json=as_json)
        return
    from rich.console import Console

    # Redirected, so that lines that are printed beside it stay whole.
    with Console().status(status_line(counts, 0), spinner="line") as status:
        yield Lines(counts, as_json=False, status=status)

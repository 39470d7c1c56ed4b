"""``seamtell watch``: decisions on seams as their files appear."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import ProfileName, WorkspaceDir

if TYPE_CHECKING:
    import threading

    from seamtell.pipeline.watch.news import WatchCounts

__all__ = ["register"]

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the trace files appear.")]
Recursive = Annotated[bool, typer.Option("--recursive", "-r", help="Also in folders below.")]
Once = Annotated[bool, typer.Option("--once", help="Deal with what is there, then end.")]
ForSeconds = Annotated[float | None, typer.Option("--for", metavar="SECONDS", min=0, help="End after this.")]
Settle = Annotated[
    float,
    typer.Option(
        metavar="SECONDS", min=0.05, help="Unchanged so long, a file is complete where nothing tells of it."
    ),
]
Poll = Annotated[
    float, typer.Option(metavar="SECONDS", min=0.1, help="Between two searches of the whole folder.")
]
Patient = Annotated[
    bool,
    typer.Option("--patient", help="Wait for --settle in any case: for writers that close a file and go on."),
]
AsJsonLines = Annotated[bool, typer.Option("--json", help="One JSON document a line instead of text.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("watch")(_watch)


def _watch(
    folder: Folder,
    profile: ProfileName = None,
    recursive: Recursive = False,
    once: Once = False,
    for_s: ForSeconds = None,
    settle: Settle = 1.0,
    poll: Poll = 5.0,
    patient: Patient = False,
    workspace: WorkspaceDir = None,
    as_json: AsJsonLines = False,
) -> None:
    """Decide on each seam as soon as its file is complete; the limit rule stays in charge.

    Ends cleanly on SIGINT and SIGTERM. Exit code 0, or 3 when some input was rejected.
    """
    from datetime import UTC, datetime

    from seamtell.pipeline.commands.watch_lines import lines_for
    from seamtell.pipeline.watch.live import WatchPlan, watch
    from seamtell.pipeline.watch.news import WatchCounts
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    plan = WatchPlan(folder, profile, recursive, once, for_s, settle, poll, patient)
    counts = WatchCounts()
    with _stopped_by_signals() as stop, lines_for(counts, as_json=as_json) as lines:
        watch(
            ws, plan, stop=stop, hear=lines.hear, clock=lambda: datetime.now(UTC), on_waiting=lines.on_waiting
        )
    if not as_json:
        _print_end(counts)
    if counts.rejected or counts.conflicts:
        raise typer.Exit(console.ExitCode.DONE_WITH_REJECTIONS)


@contextmanager
def _stopped_by_signals() -> Iterator[threading.Event]:
    """An event that SIGINT and SIGTERM set; a second SIGINT ends at once, which loses nothing either."""
    import signal
    import threading

    stop = threading.Event()

    def end(number: int, _frame: object) -> None:
        if stop.is_set():
            raise KeyboardInterrupt(number)
        stop.set()

    earlier = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in earlier.items():
            signal.signal(number, handler)


def _print_end(counts: WatchCounts) -> None:
    console.print_table(
        ["", "seams"],
        [*counts.verdicts.items(), ["rejected input", counts.rejected], ["in conflict", counts.conflicts]],
        right=["seams"],
    )
    if counts.known_files:
        console.say(f"Files whose seams all had their decision before: {counts.known_files}")
    median, most = counts.latency_ms(0.5), counts.latency_ms(0.95)
    if median is not None and most is not None:
        console.say(
            f"From the complete file to the decision on the disk, last {len(counts.latencies_ms)} seams: "
            f"median {median:.0f} ms, 95 % within {most:.0f} ms."
        )
    console.caution()
    console.next_step(
        "seamtell rejected" if counts.rejected or counts.conflicts else "seamtell mix --by line"
    )

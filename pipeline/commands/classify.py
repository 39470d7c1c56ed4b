"""``seamtell classify``: decisions on new seams."""

from __future__ import annotations

import shlex
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.beyond import Scheduler, Store, running, where
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir
from seamtell.pipeline.commands.unread import exit_if_unread, warn_unread

if TYPE_CHECKING:
    from seamtell.pipeline.classify import ClassifyResult

__all__ = ["month_bounds", "register"]

_DAY = "%Y-%m-%d"
Since = Annotated[
    datetime | None, typer.Option("--since", formats=[_DAY], help="Seams welded on this day (UTC) or later.")
]
Until = Annotated[
    datetime | None, typer.Option("--until", formats=[_DAY], help="Seams welded on this day (UTC) or before.")
]
Month = Annotated[
    str | None, typer.Option("--month", metavar="YYYY-MM", help="Seams welded in this month (UTC).")
]
Seams = Annotated[list[str] | None, typer.Option("--seam", help="Only this seam; may be given many times.")]
Out = Annotated[
    str | None,
    typer.Option(
        "--out",
        metavar="DIR|URL",
        help="New or empty folder or URL; default: decisions/<time> in the workspace.",
    ),
]

Trial = Annotated[
    str | None,
    typer.Option(
        "--trial", metavar="MODEL", help="Let this unapproved model label beside the limit rule, for a trial."
    ),
]


Threads = Annotated[
    int | None,
    typer.Option("--threads", min=1, max=64, help="Default: one a core; same result with any number."),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("classify")(_classify)


def _classify(
    since: Since = None,
    until: Until = None,
    month: Month = None,
    seam: Seams = None,
    out: Out = None,
    trial: Trial = None,
    store: Store = None,
    scheduler: Scheduler = None,
    threads: Threads = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Label the indications of seams with the approved model; the limit rule stays in charge."""
    from seamtell.pipeline.classify import classify
    from seamtell.pipeline.store.manifest import read_manifest
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    first, after = _bounds(since, until, month)
    elsewhere = where(store)
    traces = elsewhere or ws.traces_dir
    with (
        running(scheduler, traces) as run,
        console.counting("classify", read_manifest(traces).n_seams) as on_seams,
    ):
        result = classify(
            ws,
            since=first,
            until=after,
            seam_ids=seam or None,
            out=where(out),
            store=elsewhere,
            run=run,
            trial=trial,
            threads=threads,
            on_seams=on_seams,
            now=datetime.now(UTC),
        )
    if trial is not None:
        _warn_trial(result)
    if result.explanation:
        console.warn(f"the limit rule decided alone: {result.explanation}")
    for sentence in result.suspended:
        console.warn(sentence)
    if result.record.deviation is not None:
        console.warn(f"{result.record.model_id} was {result.record.deviation.sentence}")
    if result.conflicts:
        console.warn(
            f"{len(result.conflicts)} seams have two differing traces and are not better than review, first "
            f"'{result.conflicts[0]}'. To do: see 'seamtell rejected'"
        )
    _warn_unjudged(result)
    warn_unread(result.unread)
    if as_json:
        document = {"folder": str(result.folder), **result.record.model_dump(mode="json")}
        console.print_json({**document, "unread": [asdict(one) for one in result.unread]})
        exit_if_unread(result.unread)
        return
    folder = result.folder
    if not isinstance(folder, Path):
        _print_classify(result, str(folder))
        exit_if_unread(result.unread)
        return
    kept = folder.is_relative_to(ws.root)
    _print_classify(result, str(folder.relative_to(ws.root) if kept else folder))
    if trial is not None:
        console.next_step(f"seamtell mix --by line --decisions {shlex.quote(str(result.folder))}")
        exit_if_unread(result.unread)
        return
    follow = "" if out is None else f" --decisions {shlex.quote(str(result.folder))}"
    console.next_step(f"seamtell mix --by line{follow}")
    exit_if_unread(result.unread)


def _warn_trial(result: ClassifyResult) -> None:
    from seamtell.pipeline.decisions.files import TrialRecord

    console.warn(
        f"trial run: {result.record.model_id} is on trial. Its labels are no decisions, and every verdict is "
        "that of the limit rule without a model"
    )
    if isinstance(result.record, TrialRecord) and result.record.physics_only:
        console.warn(
            "physics_only: the model was learnt from simulation alone; no section has judged it, and its "
            "probabilities are not calibrated"
        )


def _bounds(
    since: datetime | None, until: datetime | None, month: str | None
) -> tuple[datetime | None, datetime | None]:
    """Half-open interval of the choice: the day of ``--until`` is inside."""
    from seamtell.pipeline.errors import BadInput

    if month is not None:
        if since is not None or until is not None:
            raise BadInput(
                "got a month and days", where="--month", do="say either --month or --since/--until"
            )
        return month_bounds(month)
    try:
        after = until.replace(tzinfo=UTC) + timedelta(days=1) if until is not None else None
    except OverflowError:
        raise BadInput(
            f"got {until:%Y-%m-%d}, after which no day can be named",
            where="--until",
            do="name an earlier day, or leave it out",
        ) from None
    return since.replace(tzinfo=UTC) if since is not None else None, after


def month_bounds(month: str) -> tuple[datetime, datetime]:
    """First moment of a month and of the next.

    Raises
    ------
    BadInput
        Not a month, or the last one that there can be.

    Examples
    --------
    >>> [bound.isoformat() for bound in month_bounds("2026-12")]
    ['2026-12-01T00:00:00+00:00', '2027-01-01T00:00:00+00:00']
    """
    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.months import next_month

    try:
        first = datetime.strptime(month, "%Y-%m").replace(tzinfo=UTC)
        return first, next_month(first)
    except (ValueError, OverflowError):
        raise BadInput(f"got '{month}', expected a month such as 2026-05", where="--month") from None


def _warn_unjudged(result: ClassifyResult) -> None:
    if result.seams_without_limits:
        recipes = ", ".join(f"'{recipe}' ({n} seams)" for recipe, n in result.seams_without_limits.items())
        console.warn(
            f"limits.toml: no limits for recipe {recipes}; these seams are rejected, unjudged. "
            "To do: add the limits of the approved procedure, then classify again"
        )


def _print_classify(result: ClassifyResult, folder: str) -> None:
    counts = result.record.counts
    for title, what, members in (
        ("Seams by verdict", "verdict", counts.verdicts),
        ("Indications by label", "label", counts.labels),
        ("Unclassified by reason", "reason", counts.unclassified_by_reason),
    ):
        if members:
            console.say(title)
            console.print_table((what, "count"), members.items(), right=("count",))
    model = _model(result)
    console.say(f"{counts.seams} seams, {counts.indications} indications. Model: {model}. Files: {folder}")
    console.caution()


def _model(result: ClassifyResult) -> str:
    from seamtell.pipeline.decisions.files import TrialRecord

    record = result.record
    if isinstance(record, TrialRecord):
        return f"{record.model_id}, on trial{', physics_only' if record.physics_only else ''}"
    return record.model_id or "none, limit rule alone"

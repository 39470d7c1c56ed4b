"""``seamtell classify``: decisions on new seams."""

from __future__ import annotations

import shlex
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

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
    Path | None,
    typer.Option("--out", help="New or empty folder; default: decisions/<time> in the workspace."),
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
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Label the indications of seams with the approved model; the limit rule stays in charge."""
    from seamtell.pipeline.classify import classify
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    first, after = _bounds(since, until, month)
    result = classify(ws, since=first, until=after, seam_ids=seam or None, out=out, now=datetime.now(UTC))
    if result.explanation:
        console.warn(f"the limit rule decided alone: {result.explanation}")
    if result.conflicts:
        console.warn(
            f"{len(result.conflicts)} seams have two differing traces and are not better than review, first "
            f"'{result.conflicts[0]}'. To do: see 'seamtell rejected'"
        )
    _warn_unjudged(result)
    if as_json:
        console.print_json({"folder": str(result.folder), **result.record.model_dump(mode="json")})
        return
    kept = result.folder.is_relative_to(ws.root)
    _print_classify(result, str(result.folder.relative_to(ws.root) if kept else result.folder))
    follow = "" if out is None else f" --decisions {shlex.quote(str(result.folder))}"
    console.next_step(f"seamtell mix --by line{follow}")


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
    return (
        since.replace(tzinfo=UTC) if since is not None else None,
        until.replace(tzinfo=UTC) + timedelta(days=1) if until is not None else None,
    )


def month_bounds(month: str) -> tuple[datetime, datetime]:
    """First moment of a month and of the next.

    Raises
    ------
    BadInput
        Not a month.

    Examples
    --------
    >>> [bound.isoformat() for bound in month_bounds("2026-12")]
    ['2026-12-01T00:00:00+00:00', '2027-01-01T00:00:00+00:00']
    """
    from seamtell.pipeline.errors import BadInput

    try:
        first = datetime.strptime(month, "%Y-%m").replace(tzinfo=UTC)
    except ValueError:
        raise BadInput(f"got '{month}', expected a month such as 2026-05", where="--month") from None
    # 32 days after the first of a month always lie in the next one.
    return first, (first + timedelta(days=32)).replace(day=1)


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
    model = result.record.model_id or "none, limit rule alone"
    console.say(f"{counts.seams} seams, {counts.indications} indications. Model: {model}. Files: {folder}")
    console.caution()

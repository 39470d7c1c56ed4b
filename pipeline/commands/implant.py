"""``seamtell implant``: simulated sections, in recorded seams or in simulated ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.implant import ImplantResult

__all__ = ["register"]

Simulated = Annotated[
    bool, typer.Option("--simulated", help="Simulate whole seams instead of using recorded sound stretches.")
]
PerClass = Annotated[int, typer.Option("--per-class", min=1, help="Flaws to draw of every expected class.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="The same seed gives the same rows.")]
Workers = Annotated[
    int, typer.Option("--workers", min=1, max=64, help="Processes; same result with any number.")
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("implant")(_implant)


def _implant(
    simulated: Simulated = False,
    per_class: PerClass = 400,
    seed: Seed = 1,
    workers: Workers = 2,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Put simulated flaws into recorded sound seams and keep what gives an indication, for training."""
    from datetime import UTC, datetime

    from seamtell.pipeline.implant import implant
    from seamtell.pipeline.workspace import find_workspace

    result = implant(
        find_workspace(explicit=workspace),
        origin="simulated" if simulated else "implanted",
        per_class=per_class,
        seed=seed,
        workers=workers,
        now=datetime.now(UTC),
    )
    for what, why in result.record.left_out.items():
        console.warn(f"{what} was left out: {why}")
    if result.record.without_place:
        console.warn(f"{result.record.without_place} drawn flaws found no sound stretch long enough")
    if as_json:
        record = result.record.model_dump(mode="json")
        console.print_json({"path": str(result.path), "kept": result.kept, **record})
        return
    _print(result)


def _print(result: ImplantResult) -> None:
    record = result.record
    columns = ("class", "cause", "drawn", "indicated", "share", "of the smallest third", "kept")
    rows = [
        (
            count.label,
            "" if count.cause == count.label else count.cause.replace("_", " "),
            count.drawn,
            count.indicated,
            _share(count.indicated, count.drawn),
            _share(count.smallest_indicated, count.smallest_drawn),
            count.kept,
        )
        for count in record.counts
    ]
    console.print_table(columns, rows, title="simulated flaws that gave an indication", right=columns[2:])
    unfitted = sorted(line for line, head in record.heads.items() if not head.fitted)
    if unfitted:
        console.say(f"gain and beam of {', '.join(unfitted)} as the physics file states them, never fitted")
    where = f"in {record.host_seams} recorded seams" if record.host_seams else "in simulated seams"
    console.say(f"{result.kept} simulated sections {where}: {result.path}")
    console.say("Simulated, not cut: they help training and never judge a model.")
    console.next_step(f"seamtell train --physics {record.origin.value}")


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.0%}" if whole else ""

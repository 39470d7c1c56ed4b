"""``seamtell demo``: the whole job on an invented shop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson
from seamtell.pipeline.demo_plan import DemoPlan

if TYPE_CHECKING:
    from seamtell.pipeline.demo import DemoResult

__all__ = ["demo_rows", "register"]

Folder = Annotated[
    Path, typer.Argument(metavar="DIR", help="Where to make it; DIR-2 and so on when DIR is taken.")
]
Seams = Annotated[int, typer.Option("--seams", help="Seams to invent.")]
Sections = Annotated[int, typer.Option("--sections", help="Destructive sections to cut.")]
Seed = Annotated[int, typer.Option("--seed", help="Another seed is another shop.")]
CeilingSections = Annotated[
    int, typer.Option("--ceiling-sections", help="Simulated sections for the ceiling; 0 leaves it out.")
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(_demo)


def _demo(
    folder: Folder = Path("demo"),
    seams: Seams = DemoPlan.seams,
    sections: Sections = DemoPlan.sections,
    seed: Seed = DemoPlan.seed,
    ceiling_sections: CeilingSections = DemoPlan.ceiling_sections,
    as_json: AsJson = False,
) -> None:
    """Invent a shop, train, evaluate, approve and classify on it; a few minutes on two cores."""
    from datetime import UTC, datetime

    from seamtell.pipeline.demo import free_folder, run_demo

    place = free_folder(folder)
    if not as_json:
        if place != folder:
            console.say(f"{folder} is taken, so this demo goes to {place}.")
        console.say("Marram Bay Carriage Works is invented: no real shop, no measurement.")
    plan = DemoPlan(seams, sections, seed, ceiling_sections)
    tell = (lambda _: None) if as_json else (lambda stage: console.say(f"- {stage}"))
    result = run_demo(place, plan, now=datetime.now(UTC), tell=tell)
    if as_json:
        console.print_json(_document(result))
    else:
        _print(result)


def demo_rows(result: DemoResult) -> list[tuple[str, str]]:
    """The honest table: name and estimate of every figure, on the held-out sections."""
    held_out = result.evaluation.held_out
    names = {"hand_rule": "hand rule", "logistic": "logistic regression", "lightgbm": "LightGBM"}
    rows = [
        (f"macro-F1, {names[one.name]}{', chosen' if one.chosen else ''}", str(one.macro_f1))
        for one in held_out.side_by_side
        if one.name in names
    ]
    first = result.day_one
    rows.insert(
        0, (f"macro-F1, no section: {first.simulated_flaws} simulated flaws alone", str(first.macro_f1))
    )
    if result.ceiling is not None:
        ceiling = result.ceiling
        rows.append(
            (f"macro-F1, ceiling: {ceiling.training_sections} simulated sections", str(ceiling.macro_f1))
        )
    rows.append(("limit rule alone: flaws detected, none named", str(held_out.limit_rule.detections)))
    rows.append(("limit rule alone: sound sections rejected", str(held_out.limit_rule.false_calls)))
    rows.append(("unclassified among indicated sections", str(held_out.abstention)))
    return rows


def _print(result: DemoResult) -> None:
    console.say()
    counts = result.decisions.record.counts
    console.print_table(
        ("stage", "seconds", "peak MiB"),
        [(one.name, f"{one.seconds:.1f}", f"{one.peak_mib:.0f}") for one in result.costs],
        right=("seconds", "peak MiB"),
    )
    console.print_table(
        ("figure", "estimate [95 % interval]"),
        demo_rows(result),
        title="On the held-out, newest sections",
    )
    if result.refusal:
        console.warn(f"not approved, so the limit rule decided alone: {result.refusal}")
    verdicts = ", ".join(f"{n} {name}" for name, n in counts.verdicts.items())
    console.say(f"Newest month: {counts.seams} seams, {verdicts}.")
    console.caution()
    console.say("Open these reports:")
    for path in result.reports:
        console.say(f"  {path}")
    console.next_step(f"cd {result.workspace.root} && seamtell show SEAM")


def _document(result: DemoResult) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "folder": str(result.folder),
        "figures": dict(demo_rows(result)),
        "refusal": result.refusal,
        "verdicts": result.decisions.record.counts.verdicts,
        "costs": [asdict(one) for one in result.costs],
        "reports": [str(path) for path in result.reports],
    }

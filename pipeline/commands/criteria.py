"""``seamtell criteria check``: what a model must meet, and how many sections that takes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seamtell.pipeline.sign_off.criteria import Criteria
    from seamtell.pipeline.sign_off.needed import NeededSections
    from seamtell.pipeline.workspace import Workspace

__all__ = ["register"]

ModelId = Annotated[
    str,
    typer.Option("--model", metavar="MODEL", help="Say how many sections each takes, if it stays as seen."),
]


def register(app: typer.Typer) -> None:
    """Add the command."""
    criteria = typer.Typer(
        help="What a model must meet before approval.", no_args_is_help=True, rich_markup_mode=None
    )
    criteria.callback()(_criteria)
    criteria.command("check")(_check)
    app.add_typer(criteria, name="criteria")


def _criteria() -> None:
    """What a model must meet before approval."""


def _check(model: ModelId = "", workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Read criteria.toml and say each criterion in a sentence; with --model, what it still takes."""
    from seamtell.pipeline.sign_off.criteria import read_criteria
    from seamtell.pipeline.sign_off.criteria_words import explain
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    criteria, digest = read_criteria(ws.criteria_path)
    needed = _needed(ws, criteria, model) if model else ()
    if as_json:
        sentences = [{"id": one.id, "sentence": explain(one)} for one in criteria.criterion]
        document: dict[str, object] = {"digest": digest, "criteria": sentences}
        if model:
            document |= {"model_id": model, "needed": [_document(one) for one in needed]}
        console.print_json(document)
        return
    for criterion in criteria.criterion:
        console.say(explain(criterion))
    console.say()
    console.say("A figure that the sections cannot give is unknown, and unknown never passes.")
    if model:
        _print_needed(model, needed)


def _needed(ws: Workspace, criteria: Criteria, model: str) -> tuple[NeededSections, ...]:
    from seamtell.pipeline.evaluation.files import ACCEPTANCE_FILE, read_acceptance, read_evaluation
    from seamtell.pipeline.sign_off.approval_log import approved_model
    from seamtell.pipeline.sign_off.needed import needed_sections

    folder = ws.reports_dir / model
    result = read_evaluation(folder)
    record = read_acceptance(folder) if (folder / ACCEPTANCE_FILE).is_file() else None
    approved = approved_model(ws)
    return needed_sections(
        criteria, result, record, approved_model_id="" if approved is None else approved.model_id
    )


def _print_needed(model: str, needed: Sequence[NeededSections]) -> None:
    console.say()
    console.print_table(
        ("criterion", "of", "now", "has", "needs", "what is counted"),
        [
            (
                one.outcome.criterion.id,
                one.outcome.label or one.outcome.criterion.stratum or "all",
                _now(one),
                one.have,
                _number(one),
                one.cases,
            )
            for one in needed
        ],
        title=f"What {model} needs, if its performance stays as seen",
        right=("has", "needs"),
    )
    for one in needed:
        if not one.outcome.passed:
            of = one.outcome.label or one.outcome.criterion.stratum
            console.say(f"{one.outcome.criterion.id}{f' of {of}' if of else ''}: {one.words}.")
    console.say()
    console.say(
        "Numbers are in all, not in addition; 'about' rests on an interval that shrinks with the root of "
        "the number. Performance seldom stays as seen: plan for more."
    )


def _now(one: NeededSections) -> str:
    if not one.outcome.applies:
        return "n/a"
    return "pass" if one.outcome.passed else "FAIL"


def _number(one: NeededSections) -> str:
    if one.needed is None:
        return "-"
    return f"about {one.needed}" if one.approximate else str(one.needed)


def _document(one: NeededSections) -> dict[str, object]:
    return {
        "id": one.outcome.criterion.id,
        "label": one.outcome.label,
        "stratum": one.outcome.criterion.stratum,
        "passed": one.outcome.passed,
        "applies": one.outcome.applies,
        "cases": one.cases,
        "have": one.have,
        "needed": one.needed,
        "approximate": one.approximate,
        "words": one.words,
    }

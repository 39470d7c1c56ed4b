"""``seamtell cutplan``: what to section next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, DecisionsDir, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.cutting.making import CutPlanResult

__all__ = ["register"]

Budget = Annotated[int, typer.Option("--budget", "-n", metavar="N", help="Sections to cut.")]
RandomShare = Annotated[
    float,
    typer.Option("--random-share", metavar="SHARE", help="Part of the budget that is drawn at random."),
]
Seed = Annotated[int, typer.Option("--seed", help="Of the draw; the same seed draws the same cuts.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("cutplan")(_cutplan)


def _cutplan(
    budget: Budget,
    random_share: RandomShare = 0.2,
    seed: Seed = 1,
    decisions: DecisionsDir = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Plan the next sections: part at random, the rest where a cut tells most; with sheets to print.

    Every cut is drawn with a known probability, which is kept, so that corrected figures stay unbiased.
    """
    from datetime import UTC, datetime

    from seamtell.pipeline.cutting.making import make_cut_plan
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    result = make_cut_plan(
        ws,
        budget,
        now=datetime.now(UTC),
        seed=seed,
        random_share=random_share,
        decisions=decisions,
    )
    folder = str(result.folder.relative_to(ws.root))
    if as_json:
        console.print_json({"folder": folder, **result.plan.model_dump(mode="json")})
        return
    _print(result, folder)


def _print(result: CutPlanResult, folder: str) -> None:
    plan = result.plan
    for note in plan.notes:
        console.warn(note)
    console.say("Cuts")
    console.print_table(
        ("section", "seam", "position", "purpose", "line", "recipe", "answer", "worth", "probability", "why"),
        [
            (
                cut.section_id,
                cut.seam_id,
                f"{cut.position_mm:.1f} mm",
                cut.purpose.value,
                cut.line,
                cut.recipe,
                cut.label,
                "" if cut.worth is None else f"{cut.worth:.2f}",
                f"{cut.selection_probability:.3f}",
                cut.reason,
            )
            for cut in plan.cuts
        ],
        right=("position", "worth", "probability"),
    )
    console.say("What it should bring, by the classifier's probabilities at the planned indications")
    console.print_table(
        ("class", "sections so far", "expected", "need by the criteria"),
        [(one.label, one.so_far, f"{one.expected:.1f}", f"{one.need:.0%}") for one in plan.expected],
        right=("sections so far", "expected", "need by the criteria"),
    )
    console.say(
        f"{plan.plan_id}: {len(plan.cuts)} cuts from {plan.seams} seams with {plan.indications} indications. "
        f"Files: {folder}/cutsheets.html to print, form.csv to fill in, plan.csv"
    )
    console.say("Cut every place of the plan: what is left out by eye makes the corrected figures unfair.")
    console.caution()
    console.next_step(f"print {folder}/cutsheets.html; then: seamtell retrain {folder}/form.csv")

"""``seamtell evaluate``: what a model is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.acceptance.record import AcceptanceRecord
    from seamtell.pipeline.evaluation.result import ClassFigures, Estimate, EvaluationResult, ScopeResult

__all__ = ["register"]

ModelId = Annotated[str, typer.Argument(metavar="MODEL", help="Model to evaluate, for example m-0001.")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("evaluate")(_evaluate)


def _evaluate(model: ModelId, workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Evaluate a model on the newest sections, which no training saw, and by cross-validation."""
    from datetime import UTC, datetime

    from seamtell.pipeline.evaluate import evaluate
    from seamtell.pipeline.evaluation.files import read_acceptance
    from seamtell.pipeline.settings import read_settings
    from seamtell.pipeline.tracking.evaluation_run import track_evaluation
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    now = datetime.now(UTC)
    result = evaluate(ws, model, now=now)
    tracked = track_evaluation(ws, read_settings(ws.settings_path), result, now=now)
    if as_json:
        console.print_json(result.model_dump(mode="json"))
    else:
        folder = ws.reports_dir / model
        _print_result(result, read_acceptance(folder), str(folder.relative_to(ws.root)))
    if not tracked:
        console.warn(
            "the tracking server did not take the evaluation; the reports are complete. "
            "To do: run 'seamtell track push' when the server is back"
        )
        raise typer.Exit(console.ExitCode.DONE_WITHOUT_TRACKING)


def _print_result(result: EvaluationResult, record: AcceptanceRecord, folder: str) -> None:
    held_out = result.held_out
    _print_matrix(held_out)
    _print_classes(held_out)
    _print_side_by_side(result)
    _print_reviews(result)
    _print_acceptance(record)
    for note in result.notes:
        console.say(f"Note: {note}.")
    console.say(f"Reports: {folder}/evaluation.html, {folder}/evaluation.json, {folder}/acceptance.json,")
    console.say(f"  {folder}/sections.csv")
    for warning in record.warnings:
        console.warn(warning)
    console.caution()
    console.next_step(f"seamtell approve {result.model_id} --by NAME --reason TEXT")


def _print_matrix(scope: ScopeResult) -> None:
    columns = scope.matrix.columns
    console.print_table(
        ("truth \\ answer", *columns),
        [(row, *cells) for row, cells in zip(scope.matrix.rows, scope.matrix.counts, strict=True)],
        title=f"Held-out sections: {scope.judged} judged, from {scope.groups} coils or seams",
        right=columns,
    )


def _print_classes(scope: ScopeResult) -> None:
    console.print_table(
        ("class", "recall", "right when labelled", "precision", "missed"),
        [
            (one.label, one.recall, one.recall_answered, one.precision, _missed(one))
            for one in scope.per_class
        ],
        title="Held-out sections by class, share [95 % interval]",
    )


def _missed(figures: ClassFigures) -> str:
    return "not a flaw" if figures.label == "sound" else str(figures.missed)


def _print_side_by_side(result: EvaluationResult) -> None:
    crossed = {one.name: one for one in result.cross_validated.side_by_side}
    limit_rule = result.held_out.limit_rule
    console.print_table(
        ("candidate", "macro-F1 held out", "macro-F1 cross-validated", "kappa held out", "note"),
        [
            (
                one.name,
                one.macro_f1,
                crossed[one.name].macro_f1,
                one.kappa,
                "this model, before abstaining" if one.chosen else "",
            )
            for one in result.held_out.side_by_side
        ],
        title="Side by side on the same sections, label of the highest probability",
    )
    console.say(f"Limit rule alone: flaws detected {limit_rule.detections}, none of them named;")
    console.say(f"  sound sections rejected {limit_rule.false_calls}.")
    reasons = ", ".join(f"{one.reason} {one.count}" for one in result.held_out.abstentions)
    console.say(
        f"Unclassified among indicated: {result.held_out.abstention}{': ' if reasons else ''}{reasons}."
    )
    _print_missed(result.held_out)


def _print_missed(scope: ScopeResult) -> None:
    console.say(f"Missed among flaws found: {scope.missed}.")
    for one in scope.by_purpose:
        console.say(
            f"  {one.purpose} cuts ({one.unflagged} of {one.sections} unflagged): missed {one.missed}."
        )
    console.say("  Targeted cuts are made where something shows: they can hardly find a missed flaw.")


def _print_reviews(result: EvaluationResult) -> None:
    cost = result.review_cost
    console.say(f"Reviews asked for on seams that the limit rule accepts: {cost.asked}.")
    console.say(f"Needless reviews per 1,000 seams: {_per_1000(cost.needless_per_1000)}.")
    console.say(f"Flaws below the limit that a review catches: {cost.caught}.")
    console.say()


def _print_acceptance(record: AcceptanceRecord) -> None:
    for rate in record.miss_rates[:1]:
        console.say(f"Missed, with the choice of cuts undone: {rate.words}")
    for one in record.comparisons:
        if one.figure in ("detected", "right", "macro_f1"):
            rival = one.model_id or "the limit rule"
            console.say(f"{one.figure}, less that of {rival} on the same sections: {one.difference}.")
    if record.not_compared:
        console.say(f"Not compared with the approved model: {record.not_compared}.")
    console.say()


def _per_1000(figure: Estimate) -> str:
    if figure.estimate is None:
        return str(figure)
    return f"{figure.estimate:.1f} [{figure.low:.1f}, {figure.high:.1f}] n = {figure.n}"

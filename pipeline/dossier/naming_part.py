"""How flaws are named: the confusion matrix, each class with its intervals, the statement over all."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import ClassBound
from seamtell.pipeline.dossier.cells import count_cell, estimate_cell, label_cell, number_cell, text_cell
from seamtell.pipeline.dossier.content import (
    Block,
    Cell,
    Column,
    Figure,
    Heading,
    Paragraph,
    Section,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.data_part import SCOPE_NAMES
from seamtell.pipeline.dossier.forest_figure import ForestRow, ForestScale, draw_forest
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import MISSED, Scope, ScopeResult
from seamtell.pipeline.report.matrix_view import FEW, MatrixRow, MatrixView, matrix_view
from seamtell.pipeline.report.palette import words

__all__ = ["classes_section", "matrix_section"]


def matrix_section(source: DossierSource) -> Section:
    """Confusion matrix of both sets of sections."""
    tables = tuple(_matrix_table(source.evaluation.scope(scope)) for scope in Scope)
    return Section(
        "matrix",
        "Confusion matrix",
        (
            Paragraph(
                "Truth by section in rows, answer in columns. The bar under a count is its share of the row; "
                "the diagonal is outlined. Hatched columns hold sections without a label and without an "
                "indication."
            ),
            *tables,
        ),
    )


def _matrix_table(scope: ScopeResult) -> Table:
    view = matrix_view(scope.matrix, scope.per_class)
    columns = (
        Column("truth", "truth ↓ answer →"),
        *(Column(name, words(name), right=True) for name in (*view.answers, *view.unknown)),
        Column("recall", "recall"),
    )
    return Table(
        f"matrix_{scope.scope.value}",
        f"Confusion matrix, {SCOPE_NAMES[scope.scope]} sections. {view.finding}",
        columns,
        tuple(_matrix_row(row) for row in view.rows),
        foot=_precision_foot(view),
        matrix=True,
    )


def _matrix_row(row: MatrixRow) -> tuple[Cell, ...]:
    few = " (none cut)" if row.total == 0 else " (few)" if row.few else ""
    cells = [label_cell(row.truth, f"{words(row.truth)}{few}")]
    for one in row.named:
        cells.append(Cell(str(one.count), one.count, share=one.share, outlined=one.diagonal))
    for one in row.unknown:
        text = f"{one.count}, nothing there" if one.quiet and one.count else str(one.count)
        cells.append(Cell(text, one.count, share=one.share, unknown=not one.quiet))
    cells.append(estimate_cell(row.recall) if row.recall else text_cell(""))
    return tuple(cells)


def _precision_foot(view: MatrixView) -> tuple[Cell, ...]:
    precision = [estimate_cell(one) if one else text_cell("") for one in view.precision]
    return (text_cell("precision"), *precision, *(text_cell("") for _ in view.unknown), text_cell(""))


def classes_section(source: DossierSource) -> Section:
    """Each class with its intervals, and what holds for all classes at once."""
    blocks: list[Block] = [
        Paragraph(
            "Recall counts unclassified and missed sections against the class (for sound: indicated sections "
            f"only). A class with fewer than {FEW} sections says little: read its interval, not its estimate."
        ),
        _recall_figure(source.evaluation.held_out),
        *(_classes_table(source.evaluation.scope(scope)) for scope in Scope),
        *(_overall_table(source),),
        Heading("What holds for all classes at once"),
        *_simultaneous(source.acceptance.simultaneous),
    ]
    return Section("classes", "Each class with its intervals", tuple(blocks), joined=True)


def _recall_figure(scope: ScopeResult) -> Figure:
    rows = [
        ForestRow(words(one.label), one.recall, f"n = {one.recall.n}{', few' if one.sections < FEW else ''}")
        for one in scope.per_class
    ]
    known = [one for one in scope.per_class if one.recall.low is not None]
    worst = min(known, key=lambda one: one.recall.low or 0.0, default=None)
    finding = (
        f"Recall of each class on the held-out sections with its interval; lowest bound: "
        f"{words(worst.label)}, {worst.recall}."
        if worst
        else "No class has a recall on the held-out sections."
    )
    svg = draw_forest(rows, ForestScale(0.0, 1.0, "recall"), "recall", finding)
    return Figure("recall", finding, finding, svg, table=f"classes_{scope.scope.value}")


def _classes_table(scope: ScopeResult) -> Table:
    columns = (
        Column("label", "class"),
        Column("sections", "sections", right=True),
        Column("recall", "recall"),
        Column("recall_answered", "recall of the answered"),
        Column("precision", "precision"),
        Column("missed", MISSED),
        Column("abstained", "unclassified"),
    )
    rows = tuple(
        (
            label_cell(one.label),
            count_cell(one.sections),
            estimate_cell(one.recall),
            estimate_cell(one.recall_answered),
            estimate_cell(one.precision),
            text_cell("no flaw to miss") if one.label == "sound" else estimate_cell(one.missed),
            estimate_cell(one.abstained),
        )
        for one in scope.per_class
    )
    name = SCOPE_NAMES[scope.scope]
    return Table(
        f"classes_{scope.scope.value}",
        f"Each class, {name} sections; exact 95 % intervals, each holding for its class alone.",
        columns,
        rows,
    )


def _overall_table(source: DossierSource) -> Table:
    columns = (
        Column("figure", "figure"),
        *(Column(scope.value, f"{SCOPE_NAMES[scope]} sections", scale=(0.0, 1.0)) for scope in Scope),
    )
    scopes = [source.evaluation.scope(scope) for scope in Scope]
    named = (
        ("macro-F1, label of highest probability", [one.macro_f1 for one in scopes]),
        ("macro-F1, answers as given", [one.macro_f1_with_abstention for one in scopes]),
        ("Cohen's kappa", [one.kappa for one in scopes]),
        ("unclassified, share of the indicated", [one.abstention for one in scopes]),
        ("log loss (nat)", [one.log_loss for one in scopes]),
    )
    rows = [(text_cell(name), *(estimate_cell(one) for one in figures)) for name, figures in named]
    weighted = source.acceptance.weighted_kappa
    own = source.acceptance.scope
    rows.append(
        (
            text_cell("weighted kappa, grave confusions count more"),
            *(
                estimate_cell(weighted) if scope is own else text_cell("not computed", unknown=True)
                for scope in Scope
            ),
        )
    )
    return Table("overall", "All classes together.", columns, tuple(rows))


def _simultaneous(bounds: tuple[ClassBound, ...]) -> tuple[Block, ...]:
    if not bounds:
        return (Paragraph("No statement over all classes was computed.", Tone.UNKNOWN),)
    columns = (
        Column("label", "class"),
        Column("recall", "recall, interval that holds for all classes at once"),
        Column("level_each", "level of each, %", right=True),
        Column("method", "method"),
    )
    rows = tuple(
        (
            label_cell(one.label),
            estimate_cell(one.recall),
            number_cell(100 * one.level_each),
            text_cell(one.method),
        )
        for one in bounds
    )
    caption = "With 95 % confidence all of these intervals hold together; each is wider than on its own."
    return (Table("simultaneous", caption, columns, rows),)

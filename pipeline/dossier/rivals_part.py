"""The model beside the approved model, the limit rule and the other candidates, on the same sections."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import Comparison, Rival
from seamtell.pipeline.dossier.cells import (
    count_cell,
    estimate_cell,
    estimate_words,
    figure_words,
    label_cell,
    none_cell,
    number_cell,
    text_cell,
)
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
from seamtell.pipeline.dossier.forest_figure import ForestRow, ForestScale, draw_forest
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.report.verdict_sentence import candidate_words

__all__ = ["comparison_section"]

_RIVALS = {Rival.LIMIT_RULE: "limit rule", Rival.APPROVED: "approved model"}
_SHORT = {Rival.LIMIT_RULE: "limit rule", Rival.APPROVED: "approved"}
_COST = "expected_cost"


def comparison_section(source: DossierSource) -> Section:
    """Differences with their intervals and margins; then the candidates side by side."""
    comparisons = source.acceptance.comparisons
    blocks: list[Block] = [
        Paragraph(
            "Each difference is the model less its rival on the same sections, so above zero the model is "
            "ahead, of costs below zero. A dashed tick is the greatest loss that the criteria allow: the "
            "whole interval must lie on the better side of it. The limit rule detects and never names, so "
            "it is compared in what it can do."
        )
    ]
    if not any(one.rival is Rival.APPROVED for one in comparisons):
        text = source.acceptance.not_compared or "no other model was approved when this was evaluated"
        blocks.append(
            Paragraph(f"Not compared with an approved model: {plain_text(text, 300)}.", Tone.UNKNOWN)
        )
    shares = [one for one in comparisons if one.figure != _COST]
    if shares:
        blocks.append(_difference_figure(shares))
    if comparisons:
        blocks.append(_comparison_table(comparisons))
    blocks.extend((Heading("Candidates and the limit rule"), _candidates_table(source), _limit_table(source)))
    return Section("comparison", "Against the approved model and against the limit rule", tuple(blocks))


def _rival(one: Comparison) -> str:
    return f"{_RIVALS[one.rival]} {one.model_id}".strip()


def _difference_figure(shares: list[Comparison]) -> Figure:
    reach = [
        abs(end)
        for one in shares
        for end in (one.difference.low, one.difference.high, one.difference.estimate, one.margin)
        if end is not None
    ]
    limit = min(1.0, 1.1 * max(reach, default=0.1)) or 0.1
    rows = [
        ForestRow(
            f"{figure_words(one.figure)}, {_SHORT[one.rival]}",
            one.difference,
            "unknown" if one.difference.estimate is None else f"{one.difference.estimate:+.2f}",
            margin=None if one.margin is None else -one.margin,
        )
        for one in shares
    ]
    behind = [one for one in shares if one.difference.high is not None and one.difference.high < 0]
    ahead = [one for one in shares if one.difference.low is not None and one.difference.low > 0]
    finding = (
        f"Of {len(shares)} differences the model is ahead in {len(ahead)} and behind in {len(behind)}, "
        "beyond their intervals; the rest is undecided."
    )
    scale = ForestScale(-limit, limit, "model less rival", reference=0.0)
    svg = draw_forest(rows, scale, "comparison", finding)
    return Figure("comparison", finding, finding, svg, table="comparison")


def _comparison_table(comparisons: tuple[Comparison, ...]) -> Table:
    columns = (
        Column("rival", "against"),
        Column("figure", "figure"),
        Column("sections", "sections", right=True),
        Column("difference", "model less rival", scale=(-1.0, 1.0)),
        Column("margin", "loss allowed", right=True),
        Column("non_inferior", "not worse?"),
        Column("only_model", "only model right", right=True),
        Column("only_rival", "only rival right", right=True),
        Column("p_exact", "McNemar p", right=True),
    )
    return Table(
        "comparison",
        "Paired comparison. “Not worse?”: whether the interval keeps clear of the loss allowed. McNemar, "
        "exact, counts sections that only one of the two got right; a large p does not show that two models "
        "are equal, the interval against the margin does.",
        columns,
        tuple(_comparison_row(one) for one in comparisons),
    )


def _comparison_row(one: Comparison) -> tuple[Cell, ...]:
    digits = 1 if one.figure == _COST else 3
    return (
        text_cell(_rival(one)),
        text_cell(figure_words(one.figure)),
        count_cell(one.sections),
        estimate_cell(one.difference, digits),
        none_cell("none set") if one.margin is None else number_cell(one.margin, 2),
        _non_inferior(one),
        none_cell("none") if one.only_model is None else count_cell(one.only_model),
        none_cell("none") if one.only_rival is None else count_cell(one.only_rival),
        none_cell("none") if one.p_exact is None else _p_cell(one.p_exact),
    )


def _p_cell(p: float) -> Cell:
    return Cell("< 0.0001" if p < 0.0001 else f"{p:.4f}", p)


def _non_inferior(one: Comparison) -> Cell:
    if one.margin is None:
        return none_cell("no margin")
    if one.non_inferior is None:
        return text_cell("unknown", unknown=True)
    return text_cell("shown" if one.non_inferior else "not shown")


def _candidates_table(source: DossierSource) -> Table:
    columns = (
        Column("candidate", "candidate"),
        Column("macro_f1", "macro-F1"),
        Column("kappa", "Cohen's kappa"),
        Column("log_loss", "log loss (nat)", scale=(0.0, 3.0)),
    )
    rows = tuple(
        (
            Cell(candidate_words(one.name) + (" (chosen)" if one.chosen else ""), one.name),
            estimate_cell(one.macro_f1),
            estimate_cell(one.kappa),
            estimate_cell(one.log_loss),
        )
        for one in source.evaluation.held_out.side_by_side
    )
    return Table(
        "candidates",
        "Candidates on the same held-out sections: the label of highest probability, no abstention; a "
        "missed flaw counts as wrong.",
        columns,
        rows,
    )


def _limit_table(source: DossierSource) -> Table:
    rule = source.evaluation.held_out.limit_rule
    rows = [(text_cell("flaws detected"), estimate_cell(rule.detections))]
    rows += [
        (label_cell(one.label, f"{words(one.label)} detected"), estimate_cell(one.detected))
        for one in rule.by_class
    ]
    rows.append((text_cell("false calls on sound sections"), estimate_cell(rule.false_calls)))
    return Table(
        "limit_rule",
        f"The limit rule alone, held-out sections: {estimate_words(rule.detections)} of the flaws detected, "
        f"{rule.unlabelled} detections without a name.",
        (Column("figure", "figure"), Column("share", "share")),
        tuple(rows),
    )

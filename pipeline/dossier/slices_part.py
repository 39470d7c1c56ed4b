"""Figures by slice of the production, and what the answers cost."""

from __future__ import annotations

from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.record import CostFigures, Stratum, StratumTest
from seamtell.pipeline.dossier.cells import count_cell, estimate_cell, figure_words, number_cell, text_cell
from seamtell.pipeline.dossier.content import (
    Block,
    BulletList,
    Column,
    Figure,
    FigureGrid,
    Heading,
    Paragraph,
    Section,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.curve_figure import draw_costs
from seamtell.pipeline.dossier.forest_figure import ForestRow, ForestScale, draw_forest
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text, safe_slug
from seamtell.pipeline.report.verdict_sentence import candidate_words

__all__ = ["costs_section", "strata_section"]

_MEASURES = (
    ("right", "labelled right, share of the indicated"),
    ("missed", "missed, share of the flaws"),
    ("abstained", "unclassified, share of the indicated"),
)


def strata_section(source: DossierSource) -> Section:
    """Small multiples by recipe, line, thickness, speed and period, with the tests of heterogeneity."""
    strata, tests = source.acceptance.strata, source.acceptance.stratum_tests
    if not strata:
        return Section("strata", "By stratum", (Paragraph("No strata were computed.", Tone.UNKNOWN),))
    blocks: list[Block] = [
        Paragraph(
            "One panel a figure, one row a stratum, the same scale in all of them. Hatched: too few sections "
            "for a figure. Whether strata differ is for the tests to say, corrected for their number: with "
            "many strata some look bad by chance."
        )
    ]
    for by in dict.fromkeys(one.by for one in strata):
        own = [one for one in strata if one.by == by]
        blocks.append(Heading(f"By {words(by)}"))
        figures = tuple(_stratum_figure(by, key, axis, own, tests) for key, axis in _MEASURES)
        blocks.append(FigureGrid(f"{len(own)} strata by {words(by)}.", figures))
    blocks.extend((_strata_table(strata), *_tests_table(tests)))
    return Section("strata", "By stratum", tuple(blocks))


def _figure_of(one: Stratum, key: str) -> Estimate:
    return {"right": one.right, "missed": one.missed, "abstained": one.abstained}[key]


def _stratum_figure(
    by: str, key: str, axis: str, own: list[Stratum], tests: tuple[StratumTest, ...]
) -> Figure:
    figures = [_figure_of(one, key) for one in own]
    rows = [
        ForestRow(
            plain_text(one.value, 30),
            found,
            f"n = {found.n}" if found.estimate is not None else f"{one.sections}, too few",
        )
        for one, found in zip(own, figures, strict=True)
    ]
    known = [found.estimate for found in figures if found.estimate is not None]
    if known:
        seen = (
            f"{axis.capitalize()}: {min(known):.2f} to {max(known):.2f} in {len(known)} of {len(own)} strata"
        )
    else:
        seen = f"{axis.capitalize()}: too few sections in every stratum"
    test = next((one for one in tests if one.by == by and one.figure == key), None)
    adjusted = test.p_adjusted if test else None
    if adjusted is not None:
        seen += f"; difference between strata, corrected p = {adjusted:.3g}"
    name = f"strata_{safe_slug(by)}_{key}"
    svg = draw_forest(rows, ForestScale(0.0, 1.0, axis), name, f"By {words(by)}. {seen}.")
    return Figure(name, f"{seen}.", f"By {words(by)}. {seen}.", svg, table="strata")


def _strata_table(strata: tuple[Stratum, ...]) -> Table:
    columns = (
        Column("value", "stratum"),
        Column("by", "by"),
        Column("sections", "sections", right=True),
        *(Column(key, axis) for key, axis in _MEASURES),
    )
    rows = tuple(
        (
            text_cell(plain_text(one.value)),
            text_cell(words(one.by)),
            count_cell(one.sections),
            *(estimate_cell(_figure_of(one, key)) for key, _ in _MEASURES),
        )
        for one in strata
    )
    return Table("strata", "Every stratum.", columns, rows)


def _tests_table(tests: tuple[StratumTest, ...]) -> tuple[Block, ...]:
    if not tests:
        return (Paragraph("No test between strata could be made.", Tone.UNKNOWN),)
    columns = (
        Column("by", "strata by"),
        Column("figure", "figure"),
        Column("strata", "strata tested", right=True),
        Column("p", "p", right=True),
        Column("p_adjusted", "p, corrected", right=True),
        Column("method", "method"),
    )
    rows = tuple(
        (
            text_cell(words(one.by)),
            text_cell(figure_words(one.figure)),
            count_cell(one.strata),
            number_cell(one.p, 4),
            number_cell(one.p_adjusted, 4),
            text_cell(one.method),
        )
        for one in tests
    )
    said = tuple(dict.fromkeys(f"{one.words[:1].upper()}{one.words[1:]}" for one in tests if one.words))
    return (
        Table("stratum_tests", "Do the strata differ? Corrected for all tests by Holm.", columns, rows),
        *((BulletList(said),) if said else ()),
    )


def costs_section(source: DossierSource) -> Section:
    """Expected cost of every candidate and the threshold that makes it least."""
    costs = source.acceptance.costs
    if not costs:
        text = "No cost table is set in the criteria, so no cost was computed."
        return Section("costs", "Costs", (Paragraph(text, Tone.UNKNOWN),), joined=True)
    best = min(
        (one for one in costs if one.per_1000.estimate is not None),
        key=lambda one: one.per_1000.estimate or 0.0,
        default=None,
    )
    blocks: list[Block] = [
        Paragraph(
            "Expected cost per 1,000 sectioned indications by the cost table of the criteria, over the least "
            "probability that a label needs. The limit rule is untouched by all of it: what it rejects stays "
            "rejected."
        ),
        *_prices(source.acceptance.cost_table),
        _costs_figure(costs, best),
        _costs_table(costs),
        _cost_curves_table(costs),
    ]
    return Section("costs", "Costs", tuple(blocks), joined=True)


def _prices(table: CostTable | None) -> tuple[Block, ...]:
    if table is None:
        return ()
    rows = [
        ("a flaw called sound, or not indicated", table.missed_class),
        *((f"of them {words(flaw.value)}", cost) for flaw, cost in table.missed.items()),
        ("a flaw called another flaw", table.wrong_class),
        ("sound called a flaw", table.needless_cut),
        ("an indication without a label", table.unlabelled),
    ]
    return (
        Table(
            "prices",
            "What an answer costs, by the criteria; only the ratios matter.",
            (Column("answer", "answer"), Column("cost", "cost", right=True)),
            tuple((text_cell(name), number_cell(cost, 1)) for name, cost in rows),
        ),
    )


def _costs_figure(costs: tuple[CostFigures, ...], best: CostFigures | None) -> Figure:
    finding = (
        "No candidate has an expected cost."
        if best is None
        else f"{candidate_words(best.candidate)} costs least, {best.per_1000.estimate:.1f} per 1,000, when a "
        f"label needs a probability of {best.best_threshold:.2f}."
    )
    finding = finding[:1].upper() + finding[1:]
    svg = draw_costs(costs, "costs", finding)
    caption = f"{finding} Triangles: least cost of each candidate; thick line: the candidate chosen."
    return Figure("costs", caption, finding, svg, table="cost_curves")


def _costs_table(costs: tuple[CostFigures, ...]) -> Table:
    ends = [one.per_1000.high or one.per_1000.estimate or 0.0 for one in costs]
    columns = (
        Column("candidate", "candidate"),
        Column("per_1000", "cost per 1,000 indications", scale=(0.0, max(ends) or 1.0)),
        Column("best_threshold", "best threshold", right=True),
    )
    rows = tuple(
        (
            text_cell(candidate_words(one.candidate) + (" (chosen)" if one.chosen else "")),
            estimate_cell(one.per_1000, 1),
            number_cell(one.best_threshold),
        )
        for one in costs
    )
    return Table("costs", "Expected cost at the best threshold of each candidate.", columns, rows)


def _cost_curves_table(costs: tuple[CostFigures, ...]) -> Table:
    columns = (
        Column("candidate", "candidate"),
        Column("threshold", "threshold", right=True),
        Column("per_1000", "cost per 1,000", right=True),
    )
    rows = tuple(
        (text_cell(one.candidate), number_cell(threshold, 4), number_cell(cost, 4))
        for one in costs
        for threshold, cost in zip(one.curve.thresholds, one.curve.per_1000, strict=True)
    )
    return Table("cost_curves", "The curves as they are drawn.", columns, rows, file_only=True)

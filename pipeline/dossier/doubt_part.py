"""How far the truth itself can be trusted: position tolerance, examiners, wrong labels."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import ToleranceCurve
from seamtell.pipeline.dossier.cells import (
    estimate_cell,
    figure_words,
    label_cell,
    none_cell,
    number_cell,
    text_cell,
)
from seamtell.pipeline.dossier.content import (
    Block,
    Column,
    Figure,
    FigureGrid,
    Heading,
    Paragraph,
    Section,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.curve_figure import draw_label_errors, draw_tolerance
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import safe_slug

__all__ = ["doubt_section", "tolerance_section"]


def tolerance_section(source: DossierSource) -> Section:
    """Headline figures against the position tolerance."""
    curves = source.acceptance.tolerance
    title = "What the position tolerance does to the figures"
    if not curves:
        return Section("tolerance", title, (Paragraph("No tolerance was tried.", Tone.UNKNOWN),))
    return Section(
        "tolerance",
        title,
        (
            Paragraph(
                "A section judges the indication that lies within its position tolerance and a fixed "
                "addition. A figure that changes much along a curve rests on which cut was matched with "
                "which indication; a flat curve does not."
            ),
            FigureGrid(
                "Whiskers are 95 % intervals where they were computed.",
                tuple(_tolerance_figure(curve) for curve in curves),
            ),
            _range_table(curves),
            _tolerance_table(curves),
        ),
        joined=True,
    )


def _tolerance_figure(curve: ToleranceCurve) -> Figure:
    known = [one.figure.estimate for one in curve.figures if one.figure.estimate is not None]
    what = figure_words(curve.name)
    if known:
        text = f"{what}: from {min(known):.2f} to {max(known):.2f} over the tolerances tried."
    else:
        text = f"{what}: unknown at every tolerance."
    ends = [one.figure.high or one.figure.estimate or 0.0 for one in curve.figures]
    top = max([1.0, *(1.05 * end for end in ends)])
    name = f"tolerance_{safe_slug(curve.name)}"
    text = text[:1].upper() + text[1:]
    return Figure(name, text, text, draw_tolerance(curve, top, name, text), table="tolerance")


def _tolerance_table(curves: tuple[ToleranceCurve, ...]) -> Table:
    columns = (
        Column("figure", "figure"),
        Column("extra_tolerance_mm", "added tolerance, mm", right=True),
        Column("in_use", "in use"),
        Column("value", "value"),
    )
    rows = tuple(
        (
            text_cell(figure_words(curve.name)),
            number_cell(one.extra_tolerance_mm),
            text_cell("in use" if one.extra_tolerance_mm == curve.in_use_mm else ""),
            estimate_cell(one.figure),
        )
        for curve in curves
        for one in curve.figures
    )
    return Table(
        "tolerance", "Headline figures at each tolerance that was tried.", columns, rows, file_only=True
    )


def _range_table(curves: tuple[ToleranceCurve, ...]) -> Table:
    columns = (
        Column("figure", "figure"),
        Column("in_use", "at the tolerance in use"),
        Column("lowest", "lowest of those tried", right=True),
        Column("highest", "highest", right=True),
    )
    rows = []
    for curve in curves:
        known = [one.figure.estimate for one in curve.figures if one.figure.estimate is not None]
        in_use = [one.figure for one in curve.figures if one.extra_tolerance_mm == curve.in_use_mm]
        rows.append(
            (
                text_cell(figure_words(curve.name)),
                estimate_cell(in_use[0]) if in_use else none_cell("not among those tried"),
                number_cell(min(known, default=None)),
                number_cell(max(known, default=None)),
            )
        )
    return Table("tolerance_range", "Range of each figure over the tolerances tried.", columns, tuple(rows))


def doubt_section(source: DossierSource) -> Section:
    """Agreement of the examiners, and what wrong labels would do."""
    return Section(
        "truth",
        "How sure the truth is",
        (Heading("Agreement of the examiners"), *_agreement(source), *_label_errors(source)),
        joined=True,
    )


def _agreement(source: DossierSource) -> tuple[Block, ...]:
    found = source.acceptance.agreement
    if found is None:
        text = "No section was read by two examiners, so how well they agree is unknown."
        return (Paragraph(text, Tone.UNKNOWN),)
    rows = (
        ("Cohen's kappa, mean over pairs", found.cohen_kappa),
        ("Fleiss' kappa", found.fleiss_kappa),
        ("Krippendorff's alpha", found.krippendorff_alpha),
    )
    return (
        Table(
            "examiners",
            f"{found.examiners} examiners, {found.readings} readings of {found.sections} sections. 1 is full "
            "agreement, 0 is no better than chance. No model can agree with the truth better than the "
            "examiners agree with each other.",
            (Column("figure", "figure"), Column("value", "agreement", scale=(-1.0, 1.0))),
            tuple((text_cell(name), estimate_cell(figure)) for name, figure in rows),
        ),
    )


def _label_errors(source: DossierSource) -> tuple[Block, ...]:
    figures = source.acceptance.label_errors
    title = Heading("If some section labels were wrong")
    if not figures:
        return (title, Paragraph("The effect of wrong labels was not computed.", Tone.UNKNOWN))
    largest = figures[-1]
    finding = (
        f"If {100 * largest.label_error:g} % of the section labels were wrong, macro-F1 of the answers as "
        f"given could be anything from {largest.macro_f1_low:.2f} to {largest.macro_f1_high:.2f}."
    )
    stated = source.evaluation.scope(source.acceptance.scope).macro_f1_with_abstention.estimate
    svg = draw_label_errors(figures, stated, "label_errors", finding)
    labels = list(dict.fromkeys(label for one in figures for label in one.recall_low))
    columns = (
        Column("label", "of"),
        Column("label_error", "labels wrong, share", right=True),
        Column("low", "lowest", right=True),
        Column("high", "highest", right=True),
        Column("random", "if wrong at random", right=True),
    )
    rows = [
        (
            text_cell("macro-F1, answers as given"),
            number_cell(one.label_error),
            number_cell(one.macro_f1_low),
            number_cell(one.macro_f1_high),
            number_cell(one.macro_f1_random),
        )
        for one in figures
    ]
    rows += [
        (
            label_cell(label, f"recall, {words(label)}"),
            number_cell(one.label_error),
            number_cell(one.recall_low.get(label)),
            number_cell(one.recall_high.get(label)),
            number_cell(one.recall_random.get(label)),
        )
        for label in labels
        for one in figures
    ]
    return (
        title,
        Figure("label_errors", finding, finding, svg, table="label_errors"),
        Table(
            "label_errors",
            "Range of each figure for a stated share of wrong labels, at the worst and at the best; last: "
            "expected with right labels if the wrong ones arose at random.",
            columns,
            tuple(rows),
        ),
    )

"""The share of flaws that raise no indication: as cut, corrected for the choice of cuts, and bounded."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import MissRate
from seamtell.pipeline.dossier.cells import (
    count_cell,
    estimate_cell,
    label_cell,
    none_cell,
    number_cell,
    text_cell,
)
from seamtell.pipeline.dossier.content import BulletList, Column, Figure, Paragraph, Section, Table, Tone
from seamtell.pipeline.dossier.forest_figure import ForestRow, ForestScale, draw_forest
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.report.palette import words

__all__ = ["missed_section"]


def missed_section(source: DossierSource) -> Section:
    """Miss rates: as cut, with the choice of cuts undone, and what the data support at all."""
    rates = source.acceptance.miss_rates
    if not rates:
        return Section("missed", "Missed flaws", (Paragraph("No miss rate was computed.", Tone.UNKNOWN),))
    return Section(
        "missed",
        "Missed flaws",
        (
            Paragraph(
                "As cut: as if the sections had been drawn at random, which they were not. Corrected: the "
                "known choice of cuts undone. Exact bounds: all that the random cuts support, whatever the "
                "rest looks like. Where the corrected figure is unstable, read the bounds."
            ),
            _missed_figure(rates),
            _missed_table(rates),
            BulletList(tuple(f"{words(one.label).capitalize()}: {one.words}" for one in rates)),
        ),
        joined=True,
    )


def _missed_figure(rates: tuple[MissRate, ...]) -> Figure:
    rows = []
    for one in rates:
        bounds = None if one.exact_low is None or one.exact_high is None else (one.exact_low, one.exact_high)
        name = f"{words(one.label)}: as cut"
        rows.append(ForestRow(name, one.as_cut, _note(one.as_cut.estimate), begins=True))
        unstable = ", unstable" if one.bounds_only and one.corrected.estimate is not None else ""
        rows.append(ForestRow("corrected", one.corrected, f"{_note(one.corrected.estimate)}{unstable}"))
        rows.append(
            ForestRow(
                "exact bounds",
                None if bounds else one.corrected.model_copy(update={"estimate": None}),
                f"{bounds[0]:.2f} to {bounds[1]:.2f}" if bounds else "unknown",
                bounds=bounds,
            )
        )
    unknown = [words(one.label) for one in rates if one.corrected.estimate is None]
    finding = (
        f"The corrected miss rate is unknown for {', '.join(unknown)}."
        if unknown
        else "The miss rate of each class as cut, corrected, and as bounded by the random cuts."
    )
    svg = draw_forest(rows, ForestScale(0.0, 1.0, "share of flaws without an indication"), "missed", finding)
    caption = f"{finding} Dot and whisker: estimate and interval; open bar: exact bounds; hatched: unknown."
    return Figure("missed", caption, finding, svg, table="miss_rates")


def _note(estimate: float | None) -> str:
    return "unknown" if estimate is None else f"{estimate:.3f}"


def _missed_table(rates: tuple[MissRate, ...]) -> Table:
    columns = (
        Column("label", "class"),
        Column("as_cut", "as cut"),
        Column("corrected", "corrected"),
        Column("exact_low", "exact, low", right=True),
        Column("exact_high", "exact, high", right=True),
        Column("random_cuts", "random cuts, nothing indicated", right=True),
        Column("random_misses", "flaws among them", right=True),
        Column("random_cuts_wanted", "random cuts that would bound it to 10 %", right=True),
        Column("bounds_only", "read the bounds only"),
    )
    rows = tuple(
        (
            label_cell(one.label),
            estimate_cell(one.as_cut, 3),
            estimate_cell(one.corrected, 3),
            number_cell(one.exact_low, 3),
            number_cell(one.exact_high, 3),
            count_cell(one.random_cuts),
            count_cell(one.random_misses),
            none_cell("none") if one.random_cuts_wanted is None else count_cell(one.random_cuts_wanted),
            text_cell("yes" if one.bounds_only else "no"),
        )
        for one in rates
    )
    return Table("miss_rates", "Share of the flaws of a class that raise no indication.", columns, rows)

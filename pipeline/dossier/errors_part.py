"""Every wrong and every missed section with its trace."""

from __future__ import annotations

import re
from html import unescape

from seamtell.pipeline.dossier.cells import label_cell, none_cell, number_cell, text_cell
from seamtell.pipeline.dossier.content import (
    Block,
    Cell,
    Column,
    Figure,
    FigureGrid,
    Paragraph,
    Section,
    Table,
)
from seamtell.pipeline.dossier.data_part import SCOPE_NAMES
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import Outcome, Scope
from seamtell.pipeline.report.gallery import WINDOW_MM, GalleryGroup, GalleryPanel, error_groups
from seamtell.pipeline.report.plain_text import plain_text

__all__ = ["errors_section"]

_SHOWN = 40
"""Panels drawn of one set of sections; the table has all."""


def errors_section(source: DossierSource) -> Section:
    """Gallery of errors on the held-out sections, and the table of all errors."""
    held_out = source.judged[source.judged["scope"] == Scope.HELD_OUT.value]
    groups = error_groups(held_out, source.analyse)
    blocks: list[Block] = [
        Paragraph(
            "Each panel shows the seam around one section of the held-out data that was labelled wrong or "
            "missed: solid line specular, dashed line scatter, dotted their baselines, grey line the limit, "
            "shaded an indication, triangle the section with its position tolerance."
        )
    ]
    if not groups:
        blocks.append(Paragraph("No held-out section was labelled wrong or missed."))
    panels = [(group, panel) for group in groups for panel in group.panels]
    if panels:
        blocks.append(_grid(panels[:_SHOWN]))
    if len(panels) > _SHOWN:
        blocks.append(Paragraph(f"{_SHOWN} of {len(panels)} errors are drawn; the table below lists all."))
    blocks.append(_errors_table(source))
    return Section("errors", "Gallery of errors", tuple(blocks))


def _grid(panels: list[tuple[GalleryGroup, GalleryPanel]]) -> FigureGrid:
    figures = []
    for place, (_, panel) in enumerate(panels, start=1):
        caption = f"{plain_text(panel.section_id)} on seam {plain_text(panel.seam_id)}: {panel.caption}"
        figures.append(Figure(f"error_{place:02d}", caption, _finding(panel.svg), panel.svg, table="errors"))
    caption = (
        f"{2 * WINDOW_MM:g} mm of seam around each section, ordered by truth and answer. Panels of equal "
        "truth and answer share their scale; read the numbers at the left."
    )
    return FigureGrid(caption, tuple(figures))


def _finding(svg: str) -> str:
    """The alternative text that the drawing of a trace already carries."""
    told = re.search(r'aria-label="([^"]*)"', svg)
    return unescape(told[1]) if told else ""


def _errors_table(source: DossierSource) -> Table:
    judged = source.judged
    wrong = judged[judged["outcome"].isin([Outcome.WRONG.value, Outcome.MISSED.value])]
    wrong = wrong.sort_values(["scope", "truth", "answer", "section_id"], ascending=[False, True, True, True])
    columns = (
        Column("section_id", "section"),
        Column("sections_of", "sections"),
        Column("seam_id", "seam"),
        Column("position_mm", "position, mm", right=True),
        Column("truth", "truth"),
        Column("answer", "answer"),
        Column("probability", "probability", right=True),
    )
    rows = tuple(
        (
            text_cell(plain_text(row.section_id)),
            Cell(SCOPE_NAMES[Scope(str(row.scope))], str(row.scope)),
            text_cell(plain_text(row.seam_id)),
            number_cell(float(str(row.position_mm)), 1),
            label_cell(str(row.truth)),
            label_cell(str(row.answer)),
            _probability_cell(row.top_probability),
        )
        for row in wrong.itertuples()
    )
    held_out = int((wrong["scope"] == Scope.HELD_OUT.value).sum())
    return Table(
        "errors",
        f"All wrong and missed sections: {held_out} held-out, {len(wrong) - held_out} cross-validated.",
        columns,
        rows,
    )


def _probability_cell(value: object) -> Cell:
    number = float(value)  # type: ignore[arg-type]
    return none_cell("none") if number != number else number_cell(number)

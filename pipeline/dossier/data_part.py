"""The data: which sections, how they were chosen, who examined them, how each one was answered."""

from __future__ import annotations

import pandas as pd

from seamtell.pipeline.dossier.cells import count_cell, estimate_cell, label_cell, text_cell
from seamtell.pipeline.dossier.content import Cell, Column, KeyValue, KeyValues, Paragraph, Section, Table
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import Scope, ScopeResult
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text

__all__ = ["SCOPE_NAMES", "data_section"]

SCOPE_NAMES = {Scope.HELD_OUT: "held-out", Scope.CROSS_VALIDATED: "cross-validated"}


def data_section(source: DossierSource) -> Section:
    """Which sections the figures rest on and how they were chosen."""
    result, card = source.evaluation, source.card
    return Section(
        "data",
        "Data, and how the sections were selected",
        (
            Paragraph(
                "The held-out sections are the newest, from coils that no training saw; they are the final "
                "test. The cross-validated sections are those of the training, each answered by a model that "
                "did not see its coil. The truth of each comes from cutting, grinding and etching the seam."
            ),
            Paragraph(
                "Most sections were cut where something showed. Such targeted cuts say how well indicated "
                "flaws are named; they can hardly find a flaw that showed nothing, and so they overrate "
                "detection. Only cuts at random places can."
            ),
            _counts_table(result.held_out, result.cross_validated),
            _purpose_table(result.held_out, result.cross_validated),
            KeyValues(_facts(source.section_table, source.judged, len(card.training_section_ids))),
        ),
    )


def _facts(table: pd.DataFrame, judged: pd.DataFrame, trained: int) -> tuple[KeyValue, ...]:
    examiners = sorted({plain_text(name) for name in table["examiner"] if name})
    days = sorted(day for day in table["sectioned_on"] if day)
    return (
        KeyValue("sections in the store", f"{len(table)}, of {table['seam_id'].nunique()} seams"),
        KeyValue("sections that taught the model", str(trained)),
        KeyValue("examined", f"{days[0]} to {days[-1]}" if days else "no day is recorded"),
        KeyValue(
            "examiners",
            ", ".join(examiners[:12]) + (f" and {len(examiners) - 12} more" if len(examiners) > 12 else "")
            if examiners
            else "not recorded",
        ),
        KeyValue("each section with its answer", f"tables/sections.csv, {len(judged)} rows"),
    )


def _counts_table(*scopes: ScopeResult) -> Table:
    columns = (
        Column("sections_of", "sections"),
        Column("sections", "all", right=True),
        Column("judged", "judged", right=True),
        Column("shared", "in an indication already judged", right=True),
        Column("left_out", "left out", right=True),
        Column("quiet", "sound, nothing indicated", right=True),
        Column("groups", "coils or seams", right=True),
        Column("first", "first welded"),
        Column("last", "last welded"),
    )
    rows = tuple(
        (
            Cell(SCOPE_NAMES[one.scope], one.scope.value),
            count_cell(one.sections),
            count_cell(one.judged),
            count_cell(one.shared),
            count_cell(one.left_out),
            count_cell(one.quiet),
            count_cell(one.groups),
            text_cell("unknown" if one.first_welded_at is None else f"{one.first_welded_at:%Y-%m-%d}"),
            text_cell("unknown" if one.last_welded_at is None else f"{one.last_welded_at:%Y-%m-%d}"),
        )
        for one in scopes
    )
    return Table("section_counts", "Sections that the figures of this record rest on.", columns, rows)


def _purpose_table(*scopes: ScopeResult) -> Table:
    columns = (
        Column("purpose", "cut"),
        Column("sections_of", "sections"),
        Column("sections", "sections", right=True),
        Column("flaws", "flaws found", right=True),
        Column("unflagged", "where nothing was indicated", right=True),
        Column("missed", "flaws missed, share"),
        Column("right", "labelled right, share of the indicated"),
    )
    rows = tuple(
        (
            label_cell(one.purpose, words(one.purpose)),
            Cell(SCOPE_NAMES[scope.scope], scope.scope.value),
            count_cell(one.sections),
            count_cell(one.flaws),
            count_cell(one.unflagged),
            estimate_cell(one.missed),
            estimate_cell(one.right),
        )
        for scope in scopes
        for one in scope.by_purpose
    )
    return Table(
        "sections_by_purpose",
        "Sections apart by why they were cut. Where nothing unflagged was cut, the missed share is unknown, "
        "not zero.",
        columns,
        rows,
    )

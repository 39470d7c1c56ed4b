"""What a qualification of a test system that uses machine learning asks, answered from the record.

The points follow ENIQ Recommended Practice 13 (2021), in our own words and from memory; the
document itself was not at hand. A point that the record cannot show reads *not evidenced*: it
has to be shown elsewhere, and silence here must not pass for a yes.

References
----------
European Network for Inspection and Qualification (ENIQ), Recommended Practice 13:
Qualification of non-destructive testing systems that make use of machine learning, 2021
(from memory).
"""

from __future__ import annotations

from seamtell.pipeline.dossier.content import Block, Cell, Column, Heading, Paragraph, Section, Table, Tone
from seamtell.pipeline.dossier.qualification_evidence import data_points, label_points, performance_points
from seamtell.pipeline.dossier.qualification_point import Point, Shown
from seamtell.pipeline.dossier.qualification_use import failure_points, human_points, model_points, use_points
from seamtell.pipeline.dossier.source import DossierSource

__all__ = ["AREAS", "qualification_points", "qualification_section"]

AREAS = (
    ("use", "Intended use and its limits", use_points),
    ("data", "Origin of the data and independence of the test", data_points),
    ("labels", "How the labels were made", label_points),
    ("model", "Locked model, and what re-opens the qualification", model_points),
    ("performance", "What it can do", performance_points),
    ("failures", "Failure cases", failure_points),
    ("human", "The human's role", human_points),
)
_COLUMNS = (
    Column("asked", "what is asked"),
    Column("answer", "what the record says"),
    Column("shown", "shown"),
    Column("where", "part of this dossier"),
)


def qualification_points(source: DossierSource) -> tuple[Point, ...]:
    """Every point with its answer, in order."""
    return tuple(point for _, _, points in AREAS for point in points(source))


def qualification_section(source: DossierSource) -> Section:
    """The page: how far the record goes, then one table for each area."""
    points = qualification_points(source)
    counts = {kind: sum(point.shown is kind for point in points) for kind in Shown}
    blocks: list[Block] = [
        Paragraph(
            f"Of {len(points)} points, {counts[Shown.YES]} are evidenced by this record, "
            f"{counts[Shown.PARTLY]} in part, and {counts[Shown.NO]} are not evidenced: they have to be "
            "shown elsewhere."
        ),
        Paragraph(
            "The points are what ENIQ Recommended Practice 13 (2021) asks of evidence for a test system that "
            "uses machine learning, in our own words and all of them from memory: hold them against the "
            "document itself. An answer here is no judgement that a point is fulfilled; that is for the "
            "qualification body.",
            Tone.CAUTION,
        ),
    ]
    for name, title, answered in AREAS:
        rows = tuple(_row(point) for point in answered(source))
        blocks += [
            Heading(title),
            Table(f"qualification_{name}", f"{title}: {_tally(rows)}.", _COLUMNS, rows),
        ]
    return Section("qualification", "Points of a qualification (ENIQ RP 13)", tuple(blocks))


def _row(point: Point) -> tuple[Cell, ...]:
    lacking = point.shown is Shown.NO
    return (
        Cell(point.asked, point.id),
        Cell(point.answer, point.answer),
        Cell(point.shown.value, point.shown.value, unknown=lacking),
        Cell(point.where or "nowhere", point.where),
    )


def _tally(rows: tuple[tuple[Cell, ...], ...]) -> str:
    full = sum(row[2].value == Shown.YES.value for row in rows)
    return f"{full} of {len(rows)} points evidenced"

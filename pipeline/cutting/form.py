"""The tables of a plan: the list of cuts, and the form that comes back as sections."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from seamtell.pipeline.files.export_text import spreadsheet_safe
from seamtell.pipeline.store.planned_cuts import CutPlan
from seamtell.pipeline.store.section_rows import SECTION_COLUMNS

__all__ = ["PLAN_COLUMNS", "form_csv", "plan_csv"]

PLAN_COLUMNS: tuple[str, ...] = (
    "section_id",
    "seam_id",
    "position_mm",
    "purpose",
    "line",
    "recipe",
    "coil",
    "label",
    "indication",
    "place_start_mm",
    "place_end_mm",
    "worth",
    "selection_probability",
    "reason",
)


def plan_csv(plan: CutPlan) -> bytes:
    """The cuts as CSV, one row a section, texts safe to open in a spreadsheet."""
    rows = [[_cell(getattr(cut, name)) for name in PLAN_COLUMNS] for cut in plan.cuts]
    return _csv(PLAN_COLUMNS, rows)


def form_csv(plan: CutPlan) -> bytes:
    """The form: `SECTION_COLUMNS` with what is known filled in and the findings left empty."""
    filled = {"section_id", "seam_id", "position_mm", "purpose"}
    rows = [
        [_cell(getattr(cut, name)) if name in filled else "" for name in SECTION_COLUMNS] for cut in plan.cuts
    ]
    return _csv(SECTION_COLUMNS, rows)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    return spreadsheet_safe(str(value))


def _csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")

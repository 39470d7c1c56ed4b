"""The table of descriptors for documentation, from the one registry that also makes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seamtell.pipeline.report.palette import words

if TYPE_CHECKING:
    from seamtell.features.descriptors.registry import DescriptorRow

__all__ = ["descriptors_markdown"]

_HEAD = ("descriptor", "family", "unit", "meaning", "formula", "common gain", "read by the model")


def descriptors_markdown() -> str:
    """The table of all descriptors as Markdown, in the order of their columns."""
    from seamtell.features.descriptors.registry import descriptor_rows

    rows = [_HEAD, ("---",) * len(_HEAD), *(_cells(row) for row in descriptor_rows())]
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _cells(row: DescriptorRow) -> tuple[str, ...]:
    cells = (row.meaning, row.formula, row.gain, "yes" if row.for_model else "no")
    safe = (cell.replace("|", "\\|").replace("\n", " ") for cell in cells)
    return (f"`{row.name}`", words(row.family), row.unit, *safe)

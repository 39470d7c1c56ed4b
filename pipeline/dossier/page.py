"""The dossier as one HTML file that opens from disk, in the look of all reports."""

from __future__ import annotations

import base64

from markupsafe import Markup

from seamtell.pipeline.dossier.content import Cell, Column, DossierContent, Figure, Table
from seamtell.pipeline.dossier.tables import table_csv
from seamtell.pipeline.report.page import render_page

__all__ = ["css_text", "dossier_html"]

_SHORT = 22
"""Words up to this length stay on one line."""


def dossier_html(content: DossierContent) -> str:
    """The page: style, drawings and tables lie inside it; nothing comes from a network."""
    return render_page(
        "dossier.html.j2",
        package="seamtell.pipeline.dossier",
        content=content,
        css_identification=Markup(css_text(content.identification)),
        csv_uri=_csv_uri,
        kind_of=lambda block: type(block).__name__,
        drawn=_drawn,
        cell_class=_cell_class,
        figure_class=_figure_class,
    )


def css_text(text: str) -> str:
    r"""`text` as a string of a style sheet, in which nothing can end the string or the sheet.

    Examples
    --------
    >>> print(css_text('a "b" </style>'))
    "a\000020\000022b\000022\000020\00003c\00002fstyle\00003e"
    """
    return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\{ord(c):06x}" for c in text) + '"'


def _csv_uri(table: Table) -> str:
    return "data:text/csv;charset=utf-8;base64," + base64.b64encode(table_csv(table)).decode("ascii")


def _drawn(cell: Cell, column: Column) -> bool:
    """Whether the interval lies on the scale of the column: one that does not would mislead."""
    found = cell.estimate
    if found is None or found.method == "counted":
        return False
    low, high = column.scale
    return all(low <= end <= high for end in (found.estimate, found.low, found.high) if end is not None)


def _cell_class(cell: Cell, column: Column) -> str:
    names = []
    if cell.estimate is not None:
        names.append("figure")
    elif column.right and cell.share is None:
        names.append("number")
    elif column.key == "sha256":
        names.append("code")
    else:
        names.append("word" if len(cell.text) > _SHORT else "short")
    if cell.unknown and cell.estimate is None:
        names.append("unknown")
    if cell.outlined:
        names.append("diagonal")
    return " ".join(names)


def _figure_class(figure: Figure) -> str:
    """Traces are drawn by hand and styled by the page; the others bring their own style."""
    return "drawing" if 'id="' in figure.svg and "class=" not in figure.svg[:200] else "panel"

"""The dossier on paper: one PDF on A4, with the same content as the page.

Set with ``typst``, because one wheel brings compiler and fonts: no TeX, no browser, no
library of the system. It repeats the headers of tables that run over a page, writes tags for
screen readers (PDF/UA-1, which it checks while it writes), and gives the same bytes for the
same content, as no date and no font of the machine goes in. The text of figures is set in the
font that matplotlib brings along, since they were laid out with it.

Whatever comes from outside reaches the template as JSON, never as markup, so that a name
cannot act. A character that none of these fonts holds is drawn as a box; the page has it.
"""

from __future__ import annotations

import json
import re
from importlib.resources import files
from pathlib import Path
from typing import Any

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.dossier.content import (
    Block,
    BulletList,
    Cell,
    Column,
    DossierContent,
    Figure,
    FigureGrid,
    Heading,
    KeyValues,
    Paragraph,
    SignLines,
    Table,
)
from seamtell.pipeline.dossier.figures import svg_file
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.report.palette import FLAW_MARKS, UNKNOWN_GREY, flaw_mark

__all__ = ["PDF_NAME", "dossier_pdf", "dossier_pngs", "paper_svg", "write_pdf"]

PDF_NAME = "dossier.pdf"
_TEMPLATE = "dossier.typ"
_STANDARD = "ua-1"
_NO_BREAK = "\N{NO-BREAK SPACE}"
_MAY_BREAK = "\N{ZERO WIDTH SPACE}"
_LONGEST_WORD = 24
"""Longer words in running text may break anywhere; digests are set apart as code and stay whole."""

_LONG_CELL = 45
"""Characters; a column with longer texts takes what the others leave."""


def write_pdf(content: DossierContent, folder: Path) -> Path:
    """Write ``dossier.pdf`` below `folder`, whole or not at all, and return its path.

    Raises
    ------
    SeamtellError
        The document cannot be set.
    StorageProblem
    """
    path = folder / PDF_NAME
    write_bytes_atomically(path, dossier_pdf(content))
    return path


def dossier_pdf(content: DossierContent) -> bytes:
    """The bytes of the PDF; equal content gives equal bytes.

    Raises
    ------
    SeamtellError
        The document cannot be set.
    """
    pdf = _compiled(content, format="pdf", pdf_standards=[_STANDARD])
    return pdf if isinstance(pdf, bytes) else b"".join(pdf)


def dossier_pngs(content: DossierContent, ppi: float = 72.0) -> list[bytes]:
    """The pages as pictures, to look at what would be printed."""
    pages = _compiled(content, format="png", ppi=ppi)
    return [pages] if isinstance(pages, bytes) else list(pages)


def _compiled(content: DossierContent, **options: Any) -> bytes | list[bytes]:
    import matplotlib as mpl
    import typst

    sources: dict[str, bytes] = {
        "main": files("seamtell.pipeline.dossier").joinpath("templates", _TEMPLATE).read_bytes(),
        "data.json": json.dumps(_document(content), ensure_ascii=False, allow_nan=False).encode("utf-8"),
    }
    sources.update(
        {figure.file: paper_svg(figure.svg, figure.alt).encode("utf-8") for figure in content.figures()}
    )
    try:
        return typst.compile(  # type: ignore[no-any-return, unused-ignore]
            sources,
            font_paths=[str(Path(mpl.get_data_path()) / "fonts" / "ttf")],
            ignore_system_fonts=True,
            timestamp=0,
            **options,
        )
    except typst.TypstError as problem:
        raise SeamtellError(
            f"the dossier cannot be set on paper: {problem}",
            where=PDF_NAME,
            do="use dossier.html, which holds the same, and report this",
        ) from problem


def paper_svg(svg: str, title: str = "") -> str:
    """A drawing for white paper: black where the page has its own ink, nothing for dark screens.

    Examples
    --------
    >>> text = paper_svg('<svg viewBox="0 0 20 10"><path stroke="currentColor" d="M0 0L9 9"/></svg>', "a")
    >>> "currentColor" in text, 'stroke="#000000"' in text, "@media" in text
    (False, True, False)
    """
    text = svg_file(svg, title)
    text = re.sub(r"@media \(prefers-color-scheme: dark\)\{svg\{[^}]*\}\}", "", text)
    text = re.sub(r"system-ui, ?'DejaVu Sans', ?sans-serif", "'DejaVu Sans'", text)
    return text.replace("currentColor", "#000000")


def _document(content: DossierContent) -> dict[str, Any]:
    return {
        "title": content.title,
        "identification": content.identification,
        "answer": _text(content.answer),
        "cautions": [_text(text) for text in content.cautions],
        "unknown_grey": UNKNOWN_GREY,
        "sections": [
            {
                "title": section.title,
                "joined": section.joined,
                "blocks": [_block(block) for block in section.blocks],
            }
            for section in content.sections
        ],
    }


def _text(text: str) -> str:
    """Text whose ``n = 12`` and ``56 %`` stay together and whose very long words may break."""
    kept = re.sub(r"\b([np]) = (?=\d)", rf"\1{_NO_BREAK}={_NO_BREAK}", text).replace(" %", f"{_NO_BREAK}%")
    return re.sub(
        rf"[^\s{_NO_BREAK}-]{{{_LONGEST_WORD + 1},}}", lambda found: _MAY_BREAK.join(found[0]), kept
    )


def _block(block: Block) -> dict[str, Any]:
    match block:
        case Paragraph():
            return {"kind": "paragraph", "text": _text(block.text), "tone": block.tone.value}
        case Heading():
            return {"kind": "heading", "text": block.text}
        case BulletList():
            return {"kind": "bullets", "items": [_text(item) for item in block.items]}
        case KeyValues():
            pairs = [
                {"key": one.key, "value": one.value if one.code else _text(one.value), "code": one.code}
                for one in block.pairs
            ]
            return {"kind": "pairs", "pairs": pairs}
        case Table():
            return _table(block)
        case Figure():
            return {"kind": "figure", **_figure(block)}
        case FigureGrid():
            return {
                "kind": "figures",
                "caption": _text(block.caption),
                "figures": [_figure(one) for one in block.figures],
            }
        case SignLines():
            return {"kind": "signing", "roles": list(block.roles)}


def _figure(figure: Figure) -> dict[str, Any]:
    return {"file": figure.file, "caption": _text(figure.caption), "alt": figure.alt or figure.caption}


def _table(table: Table) -> dict[str, Any]:
    return {
        "kind": "table",
        "name": table.name.replace("_", " "),
        "file": table.file,
        "caption": _text(table.caption),
        "matrix": table.matrix,
        "file_only": table.file_only,
        "count": len(table.rows),
        "columns": [
            {
                "text": _text(one.text),
                "right": one.right,
                "mark": _mark(one.key) if table.matrix else None,
                "share": _share(table, place),
            }
            for place, one in enumerate(table.columns)
        ],
        "rows": []
        if table.file_only
        else [
            [_cell(cell, column) for cell, column in zip(row, table.columns, strict=True)]
            for row in table.rows
        ],
        "foot": [_cell(cell, column) for cell, column in zip(table.foot, table.columns, strict=False)],
    }


def _share(table: Table, place: int) -> float:
    """Share of the free width that a column gets; 0 where it is as wide as its text."""
    if table.matrix:
        return 1.0 if place else 0.0
    longest = max((len(row[place].text) for row in table.rows), default=0)
    known = any(row[place].estimate is not None for row in table.rows)
    # The square root, so that one long sentence does not squeeze the rest.
    return 0.0 if known or longest <= _LONG_CELL or table.columns[place].key == "sha256" else longest**0.5


def _mark(label: str) -> dict[str, Any] | None:
    if label not in FLAW_MARKS:
        return None
    mark = flaw_mark(label)
    return {"glyph": mark.glyph, "colour": mark.colour, "filled": mark.filled}


def _cell(cell: Cell, column: Column) -> dict[str, Any]:
    code = column.key == "sha256"
    return {
        "text": cell.text if code else _text(cell.text),
        "code": code,
        "mark": _mark(cell.label),
        "unknown": cell.unknown,
        "share": cell.share,
        "outlined": cell.outlined,
        "interval": _interval(cell, column),
    }


def _interval(cell: Cell, column: Column) -> dict[str, float | None] | None:
    """Places on the scale of the column, from 0 to 1; None where the interval lies outside of it."""
    found = cell.estimate
    if found is None or found.method == "counted" or found.estimate is None:
        return None
    low, high = column.scale
    ends = [end for end in (found.estimate, found.low, found.high) if end is not None]
    if not all(low <= end <= high for end in ends) or low >= high:
        return None

    def place(value: float | None) -> float | None:
        return None if value is None else min(max((value - low) / (high - low), 0.0), 1.0)

    return {
        "at": place(found.estimate),
        "low": place(found.low),
        "high": place(found.high),
        "bound": place(cell.bound),
    }

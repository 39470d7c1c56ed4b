"""The dossier on paper: same bytes, nothing acts, headers repeat, black ink.

That the file keeps to PDF/UA-1 (ISO 14289-1) is checked by the typesetter as it writes; here only that it
was asked to.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from xml.etree import ElementTree

import numpy as np
import pytest
import typst
from PIL import Image

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.dossier.content import (
    Cell,
    Column,
    DossierContent,
    Figure,
    KeyValue,
    KeyValues,
    Paragraph,
    Section,
    Table,
)
from seamtell.pipeline.dossier.pdf import dossier_pdf, dossier_pngs, paper_svg, write_pdf

MARKUP = '#panic("owned") *b* $1/0$ #image("/etc/passwd") <label> @ref \\u{41} // end'
PPI = 72.0


def small(*blocks: object) -> DossierContent:
    section = Section("one", "One", tuple(blocks), joined=True)  # type: ignore[arg-type]
    return DossierContent("Dossier of a test", "which record", "An answer.", ("A caution.",), (section,))


def long_table(rows: int) -> Table:
    cells = tuple((Cell(f"row {i}", i), Cell(f"{i * i}", i * i)) for i in range(rows))
    return Table("long", "A long table.", (Column("a", "first"), Column("b", "second", right=True)), cells)


def darkness(png: bytes, top_mm: float, bottom_mm: float) -> np.ndarray:
    rows = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    top, bottom = (round(mm / 25.4 * PPI) for mm in (top_mm, bottom_mm))
    return rows[top:bottom]


def test_equal_content_gives_equal_bytes(content):
    assert dossier_pdf(content) == dossier_pdf(content)


def test_the_file_is_tagged_for_screen_readers_and_holds_no_date(content):
    pdf = dossier_pdf(content)
    assert pdf.startswith(b"%PDF-")
    assert b"pdfuaid:part" in pdf
    assert b"StructTreeRoot" in pdf
    assert b"CreationDate" not in pdf
    assert f"{datetime.now(UTC):%Y-%m-%d}".encode() not in pdf


def test_names_that_try_to_act_are_set_as_they_are(hostile_content):
    assert dossier_pdf(hostile_content).startswith(b"%PDF-")


def test_markup_in_a_text_stays_text():
    with pytest.raises(typst.TypstError, match="owned"):
        typst.compile(MARKUP.encode())
    table = Table("t", MARKUP, (Column("a", MARKUP), Column("b", "b")), ((Cell(MARKUP), Cell(MARKUP)),))
    content = small(Paragraph(MARKUP), KeyValues((KeyValue(MARKUP, MARKUP, code=True),)), table)
    hostile = replace(content, title=MARKUP, identification=MARKUP, answer=MARKUP, cautions=(MARKUP,))
    assert dossier_pdf(hostile).startswith(b"%PDF-")


def test_a_table_that_runs_over_a_page_repeats_its_header():
    pages = dossier_pngs(small(long_table(250)), PPI)
    assert len(pages) > 4
    second, third = (darkness(png, 24.0, 29.0) for png in pages[1:3])
    assert second.min() < 128
    assert np.array_equal(second, third)
    assert not np.array_equal(darkness(pages[1], 29.0, 40.0), darkness(pages[2], 29.0, 40.0))


def test_a_table_that_fits_on_one_page_is_not_cut():
    filler = tuple(Paragraph(f"Line {i}.") for i in range(40))
    pages = [dossier_pngs(small(*filler[:count], long_table(9)), PPI) for count in (0, 40)]
    assert [len(page) for page in pages] == [1, 2]
    # Its ten rows stand whole on the second page: 24 mm of margin, then at least 50 mm of table.
    assert darkness(pages[1][1], 24.0, 80.0).min() < 128


def test_every_page_bears_the_identification_and_its_number():
    pages = dossier_pngs(small(long_table(250)), PPI)
    heads = [darkness(png, 12.0, 22.0) for png in pages]
    assert heads[0].min() < 160
    assert all(np.array_equal(heads[0], head) for head in heads)
    feet = [darkness(png, 282.0, 292.0).tobytes() for png in pages]
    assert len(set(feet)) == len(feet)


def test_the_pages_are_a4(content):
    size = Image.open(io.BytesIO(dossier_pngs(small(Paragraph("text")), PPI)[0])).size
    assert size == pytest.approx((210 / 25.4 * PPI, 297 / 25.4 * PPI), abs=1)


def test_every_figure_is_drawn_in_black_where_the_page_has_its_own_ink(content):
    for one in content.figures():
        text = paper_svg(one.svg, one.alt)
        ElementTree.fromstring(text)
        assert "currentColor" not in text
        assert "prefers-color-scheme" not in text
        assert "#000000" in text


def test_what_is_unknown_is_hatched():
    columns = (Column("a", "a"), Column("b", "b"))

    def inked(unknown: bool) -> int:
        row = (Cell("x"), Cell("a text of some length", unknown=unknown))
        png = dossier_pngs(small(Table("t", "caption", columns, (row,))), PPI)[0]
        return int((np.asarray(Image.open(io.BytesIO(png)).convert("L")) < 235).sum())

    assert inked(True) > inked(False) + 50


def test_a_drawing_that_cannot_be_read_is_an_error_that_says_what_to_do():
    broken = Figure("broken", "caption", "alt", '<svg viewBox="0 0 10 10"><g>')
    with pytest.raises(SeamtellError, match="cannot be set on paper"):
        dossier_pdf(small(broken))


def test_the_file_is_written_beside_the_page(tmp_path):
    path = write_pdf(small(Paragraph("text")), tmp_path)
    assert path == tmp_path / "dossier.pdf"
    assert re.match(rb"%PDF-\d", path.read_bytes())

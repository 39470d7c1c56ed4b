from __future__ import annotations

import re
from xml.etree import ElementTree

from seamtell.pipeline.report.figure_files import figure_png, figure_svg
from seamtell.pipeline.report.trace_figure import draw_seam

from .conftest import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}href"


def all_text(svg: str) -> list[str]:
    return ["".join(element.itertext()) for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_same_seam_gives_the_same_bytes(analysis):
    first, second = draw_seam(analysis), draw_seam(analysis)
    assert figure_svg(first) == figure_svg(second)
    assert figure_png(first) == figure_png(second)


def test_svg_holds_no_date_and_no_version(analysis):
    svg = figure_svg(draw_seam(analysis), standalone=True)
    assert "metadata" not in svg
    assert not re.search(r"\b20\d\d-\d\d-\d\d", svg)
    assert "Matplotlib" not in svg


def test_png_is_png_without_software_note(analysis):
    png = figure_png(draw_seam(analysis), dpi=50)
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    assert b"atplotlib" not in png


def test_neutral_ink_follows_the_page(analysis):
    svg = figure_svg(draw_seam(analysis)).lower()
    assert "#222222" not in svg
    assert "#000000" not in svg
    assert "currentcolor" in svg
    assert "#0072b2" in svg


def test_ids_of_two_drawings_do_not_meet(analysis):
    drawn = draw_seam(analysis)
    ids = [
        {e.get("id") for e in ElementTree.fromstring(figure_svg(drawn, prefix=p)).iter() if e.get("id")}
        for p in ("a", "b")
    ]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_every_reference_inside_a_drawing_has_its_target(analysis):
    svg = figure_svg(draw_seam(analysis), prefix="p7")
    root = ElementTree.fromstring(svg)
    ids = {element.get("id") for element in root.iter()}
    used = set(re.findall(r"url\(#([^)]+)\)", svg))
    used |= {element.get(XLINK)[1:] for element in root.iter() if element.get(XLINK)}
    assert used
    assert used <= ids


def test_an_inlined_drawing_brings_no_style_for_the_rest_of_the_page(analysis):
    assert "<style" not in figure_svg(draw_seam(analysis))


def test_text_is_text_and_hostile_text_stays_as_it_was_typed(hostile_analysis):
    svg = figure_svg(draw_seam(hostile_analysis), standalone=True)
    assert "<script" not in svg
    assert any(text.startswith(f"seam {HOSTILE[:60]}") for text in all_text(svg))


def test_a_character_that_the_font_lacks_does_not_stop_the_drawing(analysis):
    labels = {0: "\u4e00\U0001f9f2"}
    assert figure_png(draw_seam(analysis, labels), dpi=50)
    assert any("\u4e00" in text for text in all_text(figure_svg(draw_seam(analysis, labels))))

"""The pages in a real browser: nothing runs, nothing is fetched, nothing overflows."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from seamtell.pipeline.report.evaluation_page import write_evaluation_page
from seamtell.pipeline.report.figure_files import figure_svg
from seamtell.pipeline.report.trace_figure import draw_seam
from seamtell.pipeline.report.trace_page import DrawnSeam, write_trace_page

from .conftest import HOSTILE, make_result

pytestmark = pytest.mark.browser


@dataclass
class Visit:
    """What the browser saw on one visit."""

    title: str = ""
    page_width: int = 0
    alerts: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    paper: str = ""
    verdict_bottom: float = 0.0


@pytest.fixture(scope="module")
def pages(tmp_path_factory, analysis, hostile_analysis, sections, analyses) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    write_evaluation_page(make_result(note=HOSTILE), sections, analyses, folder / "evaluation.html")
    seams = [DrawnSeam(analysis), DrawnSeam(hostile_analysis, HOSTILE, {0: HOSTILE})]
    write_trace_page(folder / "traces.html", HOSTILE, HOSTILE, seams, sections)
    drawn = figure_svg(draw_seam(hostile_analysis, {0: HOSTILE}, sections), standalone=True, finding=HOSTILE)
    (folder / "seam.svg").write_text(drawn, encoding="utf-8")
    return {path.name: path for path in folder.iterdir()}


def visit(browser, path: Path, width: int, scheme: str = "light") -> Visit:
    seen = Visit()
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.on("console", lambda message: seen.console.append(message.text))
    page.on("pageerror", lambda problem: seen.console.append(str(problem)))
    page.on("request", lambda request: seen.requests.append(request.url))
    page.on("dialog", lambda dialog: (seen.alerts.append(dialog.message), dialog.dismiss()))
    page.goto(path.as_uri())
    seen.title = page.title()
    seen.page_width = page.evaluate("document.documentElement.scrollWidth")
    if path.suffix == ".html":
        seen.paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        seen.verdict_bottom = page.evaluate(
            "document.querySelector('.verdict').getBoundingClientRect().bottom"
        )
    page.close()
    return seen


@pytest.mark.parametrize("width", [400, 1280])
@pytest.mark.parametrize("name", ["evaluation.html", "traces.html"])
def test_a_page_opens_from_disk_without_errors_requests_or_overflow(browser, pages, name, width):
    seen = visit(browser, pages[name], width)
    assert seen.console == []
    assert seen.requests == [pages[name].as_uri()]
    assert seen.page_width == width


@pytest.mark.parametrize("name", ["evaluation.html", "traces.html", "seam.svg"])
def test_hostile_text_does_nothing(browser, pages, name):
    seen = visit(browser, pages[name], 1280)
    assert seen.alerts == []
    assert seen.title != "owned"
    assert seen.console == []
    assert seen.requests == [pages[name].as_uri()]


def test_the_drill_would_notice_text_that_acts(browser, tmp_path):
    path = tmp_path / "acting.html"
    path.write_text(f'<p class="verdict">{HOSTILE}</p>', encoding="utf-8")
    seen = visit(browser, path, 400)
    assert seen.title == "owned"
    assert seen.alerts == ["1"]


@pytest.mark.parametrize("width", [400, 1280])
def test_the_verdict_is_in_the_first_screenful(browser, pages, width):
    assert visit(browser, pages["evaluation.html"], width).verdict_bottom < 900


def test_the_page_follows_the_light_or_dark_wish_of_the_reader(browser, pages):
    papers = [visit(browser, pages["evaluation.html"], 400, scheme).paper for scheme in ("light", "dark")]
    assert papers == ["rgb(255, 255, 255)", "rgb(22, 24, 27)"]


def test_nothing_is_cut_off_on_a_printed_a4_page(browser, pages):
    # A4 is 210 mm wide; less 14 mm on either side that is 688 CSS pixels (96 to the inch).
    page = browser.new_page(viewport={"width": 688, "height": 900})
    page.emulate_media(media="print")
    page.goto(pages["evaluation.html"].as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") == 688
    page.close()


def test_the_identification_is_repeated_in_print_only(browser, pages):
    page = browser.new_page()
    page.goto(pages["evaluation.html"].as_uri())
    shown = "[...document.querySelectorAll('.print-identity')].filter(e => e.offsetHeight > 0).length"
    assert page.evaluate(shown) == 0
    page.emulate_media(media="print")
    assert page.evaluate(shown) == page.evaluate("document.querySelectorAll('h2').length")
    page.close()

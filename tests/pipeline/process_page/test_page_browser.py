"""The process page in a real browser: figures, filters, links, CSV, keyboard, print.

Checked against axe-core (the rules of WCAG 2.0, 2.1 and 2.2, levels A and AA, and its best practices).
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from seamtell.pipeline.process_page.page import process_html
from seamtell.pipeline.process_page.view import ALL, ProcessView
from seamtell.pipeline.report.palette import words

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def html(tmp_path_factory: pytest.TempPathFactory, view: ProcessView) -> Path:
    path = tmp_path_factory.mktemp("process") / "process.html"
    path.write_text(process_html(view), encoding="utf-8")
    return path


def outside(url: str, complaints: list[str]) -> None:
    """Complain of what is not inside the file."""
    if not url.startswith(("file:", "data:", "blob:")):
        complaints.append(url)


def opened(browser: Any, path: Path, fragment: str = "", width: int = 1280, **options: Any) -> Any:
    page = browser.new_page(viewport={"width": width, "height": 900}, **options)
    page.complaints = []
    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda problem: page.complaints.append(str(problem)))
    page.on("request", lambda request: outside(request.url, page.complaints))
    page.goto(path.as_uri() + fragment)
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    return page


@pytest.fixture
def page(browser: Any, html: Path) -> Iterator[Any]:
    page = opened(browser, html)
    yield page
    assert page.complaints == []
    page.close()


def table(page: Any, name: str) -> list[list[str]]:
    script = "rows => rows.map(row => [...row.children].map(cell => cell.textContent))"
    return page.eval_on_selector_all(f"#table-{name} tr", script)


@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1280, "light")])
def test_axe_finds_nothing_wrong(
    browser: Any, html: Path, width: int, scheme: str, violations: Callable[[Any], list[str]]
) -> None:
    page = opened(browser, html, width=width, bypass_csp=True, color_scheme=scheme)
    page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")
    assert violations(page) == []
    page.close()


def test_every_figure_is_drawn(page: Any) -> None:
    for name in ("mix", "time", "months", "places", "groups", "health"):
        assert page.locator(f"#figure-{name} svg path").count() > 3
        assert page.locator(f"#table-{name} tr").count() > 3


def test_filters_show_the_rows_of_the_choice(page: Any, view: ProcessView) -> None:
    page.select_option("#line", "L2")
    page.select_option("#period", "2026-07")
    page.wait_for_function("document.getElementById('choice').textContent.startsWith('line L2')")
    expected = [row for row in view.mix if (row.line, row.recipe, row.period) == ("L2", ALL, "2026-07")]
    counts = {cells[0]: int(cells[1].replace(",", "")) for cells in table(page, "mix")}
    assert counts == {words(row.label): row.raw for row in expected}


def test_two_months_are_compared_either_way(page: Any) -> None:
    assert (
        page.text_content("#pair")
        == "pinhole, 2026-12 over 2026-01: 2.00 [1.60, 2.50] times the corrected rate."
    )
    page.select_option("#later", "2026-01")
    page.select_option("#earlier", "2026-12")
    page.wait_for_function("document.getElementById('pair').textContent.includes('2026-01 over')")
    assert (
        page.text_content("#pair")
        == "pinhole, 2026-01 over 2026-12: 0.50 [0.40, 0.63] times the corrected rate."
    )
    page.select_option("#earlier", "2026-02")
    page.wait_for_function("document.getElementById('pair').textContent.includes('unknown')")


def test_places_are_added_up_over_what_is_chosen(page: Any, view: ProcessView) -> None:
    page.select_option("#flaw", "edge_notch")
    page.select_option("#line", "L1")
    page.wait_for_function("document.getElementById('choice').textContent.startsWith('line L1')")
    shown = {float(cells[0]): int(cells[2].replace(",", "")) for cells in table(page, "places")}
    at = [row for row in view.places if row.line == "L1" and row.label == "edge_notch"]
    at = [row for row in at if row.measured == "from start"]
    for bin_mm in (0.0, 210.0, 590.0):
        assert shown[bin_mm] == sum(row.count for row in at if row.at == bin_mm)


def test_a_click_on_a_flaw_links_the_other_figures(page: Any) -> None:
    box = page.locator("#figure-mix svg path[fill='#F0B400' i]").first.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function("document.getElementById('flaw').value === 'mismatch'")
    assert page.locator(".flaw-name").first.text_content() == "mismatch"


def test_a_link_brings_the_choice_back(browser: Any, html: Path) -> None:
    page = opened(browser, html, "#line=L1&recipe=MB-1815&period=2026-03&flaw=edge_notch&by=coil")
    chosen = [page.input_value(f"#{name}") for name in ("line", "recipe", "period", "flaw", "by")]
    assert chosen == ["L1", "MB-1815", "2026-03", "edge_notch", "coil"]
    assert page.complaints == []
    page.close()


def test_a_choice_without_seams_says_so(page: Any) -> None:
    for name, value in (("#line", "L2"), ("#recipe", "MB-1815"), ("#period", "2026-01")):
        page.select_option(name, value)
    page.wait_for_function("document.getElementById('choice').textContent.includes('no seam')")
    assert page.locator("#figure-mix").is_hidden()


def test_what_the_sections_do_not_tell_is_unknown_and_no_zero(page: Any) -> None:
    page.select_option("#period", "2026-02")
    page.wait_for_function("document.getElementById('choice').textContent.includes('2026-02')")
    row = next(cells for cells in table(page, "mix") if cells[0] == "mismatch")
    assert row[3] == "unknown: 3 more sections would settle it"
    assert row[4:] == ["unknown", "unknown"]


def test_the_csv_holds_what_is_shown(page: Any, view: ProcessView, tmp_path: Path) -> None:
    page.select_option("#line", "L2")
    page.wait_for_function("document.getElementById('choice').textContent.startsWith('line L2')")
    with page.expect_download() as download:
        page.click("[data-csv=mix]")
    download.value.save_as(tmp_path / "mix.csv")
    with (tmp_path / "mix.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    expected = [row for row in view.mix if (row.line, row.recipe, row.period) == ("L2", ALL, ALL)]
    assert {row["label"]: int(row["raw"]) for row in rows} == {row.label: row.raw for row in expected}


def test_a_picture_opens_and_closes_by_keyboard(page: Any) -> None:
    button = page.locator("[data-seam]").first
    button.focus()
    page.keyboard.press("Enter")
    assert page.locator("#cut-1 svg").is_visible()
    page.keyboard.press("Enter")
    assert page.locator("#cut-1").is_hidden()


def test_the_name_of_a_seam_stays_text(page: Any) -> None:
    assert page.locator("th[scope=row]", has_text="S<b>18").count() == 1
    assert page.locator("b").count() == 0


def test_nothing_is_wider_than_a_phone(browser: Any, html: Path) -> None:
    page = opened(browser, html, width=390)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.close()


def test_print_leaves_out_what_only_a_screen_can_use(page: Any) -> None:
    page.emulate_media(media="print")
    assert page.locator("#line").is_hidden()
    assert page.locator("[data-csv=mix]").is_hidden()
    assert page.locator("#figure-mix").is_visible()

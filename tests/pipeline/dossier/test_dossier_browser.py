"""The dossier in a real browser: for everyone to read, by keyboard, on a phone and on A4.

Checked against axe-core (the rules of WCAG 2.0, 2.1 and 2.2, levels A and AA, and its best practices).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from seamtell.pipeline.dossier.page import dossier_html

pytestmark = pytest.mark.browser

A4_LESS_MARGINS_PX = 688
"""210 mm less 14 mm on either side, at 96 pixels an inch."""
A4_HEIGHT_LESS_MARGINS_PX = (297 - 14 - 18) * 96 / 25.4


@pytest.fixture(scope="module")
def html(tmp_path_factory, content) -> Path:
    path = tmp_path_factory.mktemp("dossier") / "dossier.html"
    path.write_text(dossier_html(content), encoding="utf-8")
    return path


def opened(browser: Any, path: Path, width: int = 1280, **options: Any) -> Any:
    page = browser.new_page(viewport={"width": width, "height": 900}, **options)
    page.goto(path.as_uri())
    return page


@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1280, "light")])
def test_axe_finds_nothing_wrong_with_the_dossier(browser, html, width, scheme, violations):
    # The rules run as a script; the page itself allows none, so its policy is lifted for the visit.
    page = opened(browser, html, width, bypass_csp=True, color_scheme=scheme)
    assert violations(page) == []
    page.close()


def test_axe_would_find_what_is_wrong(browser, tmp_path, violations):
    path = tmp_path / "wrong.html"
    path.write_text('<html><body><p style="color:#bbb">pale</p><img src="data:,"></body></html>', "utf-8")
    page = opened(browser, path)
    found = " ".join(violations(page))
    assert "image-alt" in found
    assert "html-has-lang" in found
    assert "color-contrast" in found
    page.close()


def test_tab_reaches_everything_that_can_be_used_and_leaves_again(browser, html):
    page = opened(browser, html)
    usable = "a[href], summary, button, input, select, textarea, [tabindex='0']"
    wanted = page.evaluate(
        f"""() => {{
            const all = [...document.querySelectorAll("{usable}")].filter(e => e.getClientRects().length);
            all.forEach((e, i) => e.dataset.place = i);
            return all.length;
        }}"""
    )
    order = []
    for _ in range(wanted):
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.dataset.place ?? null"))
    assert wanted > 20
    assert order == [str(place) for place in range(wanted)]
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.place ?? null") in (None, "0")
    page.close()


def test_what_has_the_focus_is_outlined(browser, html):
    page = opened(browser, html)
    for _ in range(3):
        page.keyboard.press("Tab")
    style = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert style != "none"
    page.close()


def test_a_reader_at_400_pixels_never_scrolls_the_page_sideways(browser, html):
    page = opened(browser, html, 400)
    assert page.evaluate("document.documentElement.scrollWidth") == 400
    page.close()


def test_nothing_is_cut_off_at_the_right_of_a_printed_page(browser, html):
    page = opened(browser, html, A4_LESS_MARGINS_PX)
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") == A4_LESS_MARGINS_PX
    wide = page.evaluate(
        """() => [...document.querySelectorAll('.scroll')]
            .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.getAttribute('aria-label'))"""
    )
    assert wide == []
    page.close()


def test_no_row_of_a_table_is_cut_between_two_printed_pages(browser, html):
    page = opened(browser, html, A4_LESS_MARGINS_PX)
    page.emulate_media(media="print")
    rows = page.evaluate(
        """() => [...document.querySelectorAll('tr')]
            .map(e => [getComputedStyle(e).breakInside, e.getBoundingClientRect().height])"""
    )
    assert {inside for inside, _ in rows} <= {"avoid", "avoid-page"}
    assert max(height for _, height in rows) < A4_HEIGHT_LESS_MARGINS_PX / 2
    heads = page.evaluate("[...document.querySelectorAll('thead')].map(e => getComputedStyle(e).display)")
    assert set(heads) == {"table-header-group"}
    page.close()


def test_the_dossier_prints_on_a_sane_number_of_a4_pages(browser, html, content):
    page = opened(browser, html)
    printed = page.pdf(format="A4", prefer_css_page_size=True)
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))
    assert len(content.sections) / 2 < pages < 2 * len(content.sections)
    page.close()

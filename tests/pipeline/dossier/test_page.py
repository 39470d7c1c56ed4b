"""The dossier as a page: complete, self-contained, inert, and to be read without a mouse."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser

import pytest

from seamtell.pipeline.dossier.page import css_text, dossier_html
from seamtell.pipeline.dossier.tables import table_csv

from .conftest import HOSTILE


class Reader(HTMLParser):
    """Collects tags with their attributes, and visible text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._hidden += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.words.append(data)

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def html(content) -> str:
    return dossier_html(content)


@pytest.fixture(scope="module")
def page(html) -> Reader:
    return Reader(html)


def test_the_answer_comes_before_everything_else(page, content):
    assert content.answer.replace(" %", "\N{NO-BREAK SPACE}%")[:60] in page.text[: len(content.title) + 200]


def test_every_section_is_listed_and_linked(page, content):
    links = {attrs.get("href") for attrs in page.of("a")}
    ids = {attrs["id"] for _, attrs in page.tags if "id" in attrs}
    for one in content.sections:
        assert f"#{one.id}" in links
        assert one.id in ids


def test_no_id_stands_twice(page):
    ids = [attrs["id"] for _, attrs in page.tags if attrs.get("id")]
    assert len(ids) == len(set(ids))


def test_nothing_comes_from_a_network_and_nothing_runs(page):
    for tag, attrs in page.tags:
        assert tag not in ("script", "iframe", "object", "embed", "link") or attrs.get("href") == "data:,"
        for name in ("href", "src", "xlink:href"):
            target = attrs.get(name) or ""
            assert target.startswith(("#", "data:")) or target == "", target
        assert not [name for name in attrs if name.startswith("on")]


def test_every_figure_tells_its_finding_to_those_who_cannot_see_it(page, content):
    told = [attrs.get("aria-label") for attrs in page.of("svg") if attrs.get("role") == "img"]
    assert all(told)
    for one in content.figures():
        assert any(text and text.startswith(one.alt[:30]) for text in told), one.name


def test_rows_and_columns_have_headers_with_a_scope(page):
    assert {attrs.get("scope") for attrs in page.of("th")} == {"row", "col"}
    assert len(page.of("caption")) == len(page.of("table"))


def test_a_wide_table_can_be_scrolled_with_the_keyboard(page):
    scrolling = [attrs for attrs in page.of("div") if attrs.get("class") == "scroll"]
    assert len(scrolling) == len(page.of("table"))
    assert all(attrs.get("tabindex") == "0" and attrs.get("aria-label") for attrs in scrolling)


def test_every_table_is_inside_the_page_as_csv(page, content):
    held = {
        attrs["download"]: base64.b64decode((attrs["href"] or "").split(",", 1)[1])
        for attrs in page.of("a")
        if attrs.get("download")
    }
    assert held == {f"{one.name}.csv": table_csv(one) for one in content.tables()}


def test_the_identification_is_repeated_on_every_printed_page(html, content):
    assert f"content: {css_text(content.identification)}" in html
    assert "thead { display: table-header-group; }" in html


def test_names_from_outside_stay_text(hostile_content):
    html = dossier_html(hostile_content)
    page = Reader(html)
    assert "<script" not in html
    assert not page.of("img")
    assert HOSTILE[:20] in page.text
    assert html.count("</style>") == 1


def test_a_string_of_the_style_sheet_cannot_be_ended_from_inside():
    assert re.fullmatch(r'"(?:[A-Za-z0-9]|\\[0-9a-f]{6})*"', css_text(f'{HOSTILE}"}} </style>\n\\'))


def test_a_record_without_figures_still_makes_a_page(bare_content):
    assert "Nobody has approved m-0007" in Reader(dossier_html(bare_content)).text

"""The evaluation page as a document: complete, self-contained, inert."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser

import pytest

from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.evaluation_page import evaluation_html, write_evaluation_page

from .conftest import HOSTILE, make_result


class Reader(HTMLParser):
    """Collects tags, attributes and visible text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


@pytest.fixture(scope="module")
def html(sections, analyses) -> str:
    return evaluation_html(make_result(note=HOSTILE), sections, analyses)


@pytest.fixture(scope="module")
def page(html) -> Reader:
    return Reader(html)


def test_the_verdict_comes_before_everything_but_the_title(page):
    order = [a.get("class") for tag, a in page.tags if tag in ("h1", "p", "table", "nav")]
    assert order[:3] == [None, "verdict", "caution"]


def test_the_caution_is_printed(page):
    assert CAUTION.removeprefix("caution: ") in page.text


def test_nothing_is_loaded_from_anywhere(page):
    assert not page.all("script")
    assert not page.all("img")
    for tag, attributes in page.tags:
        for name in ("src", "href", "xlink:href", "data", "action"):
            address = attributes.get(name)
            assert address is None or address.startswith(("#", "data:")), (tag, address)


def test_the_style_loads_nothing(html):
    style = html[html.index("<style>") : html.index("</style>")]
    assert "@import" not in style
    assert re.findall(r"url\(([^)]*)\)", style) == ["#hatch"]


def test_a_policy_forbids_scripts_and_the_network(page):
    policy = next(a["content"] for a in page.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'")
    assert "script-src" not in policy


def test_hostile_text_is_shown_as_text(page):
    assert HOSTILE in page.text
    assert not any("onerror" in attributes for _, attributes in page.tags)


def test_every_table_header_says_its_scope(page):
    assert page.all("th")
    assert all(a.get("scope") in ("row", "col") for a in page.all("th"))


def test_every_drawing_has_a_text_for_those_who_do_not_see_it(page):
    for attributes in page.all("svg"):
        assert attributes.get("aria-label") or attributes.get("aria-hidden") == "true"


def test_every_link_of_the_contents_has_its_target(page):
    ids = [a["id"] for _, a in page.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    targets = {a["href"][1:] for a in page.all("a") if a["href"].startswith("#")}
    assert len(targets) >= 12
    assert targets <= set(ids)


def test_every_wrong_and_missed_section_has_its_trace(page):
    shown = [a["aria-label"] for a in page.all("svg") if "section S-" in (a.get("aria-label") or "")]
    assert sorted(re.search(r"section (S-\d+)", label)[1] for label in shown) == [
        "S-001",
        "S-002",
        "S-004",
        "S-005",
        "S-007",
    ]


def test_every_digest_is_on_the_page(page):
    result = make_result()
    for digest in (
        result.model_digest,
        result.sections_digest,
        result.traces_digest,
        result.limits_digest,
        result.settings_digest,
    ):
        assert digest in page.text
    assert "seamtell 0.1.0" in page.text
    assert "2026-03-02 06:30 UTC" in page.text


def test_unknown_is_said_with_its_reason(page):
    assert "unknown nothing unflagged was cut" in page.text
    assert "unknown, not zero" in page.text


def test_the_matrix_shows_every_count(page, html):
    table = html[html.index('<table class="matrix">') :]
    cells = re.findall(r'<span class="count[^"]*">(\d*)</span>', table[: table.index("</table>")])
    assert [int(cell) for cell in cells] == [c for row in make_result().held_out.matrix.counts for c in row]


def test_a_short_row_says_few_in_words(page):
    assert "sound few" in page.text


def test_the_data_are_inside_and_run_no_formula(page, sections):
    links = [a for a in page.all("a") if a["href"].startswith("data:text/csv")]
    assert len(links) == 1
    text = base64.b64decode(links[0]["href"].split(",", 1)[1]).decode("utf-8")
    assert text.splitlines()[0] == ",".join(sections.columns)
    assert len(text.splitlines()) == 1 + len(sections)


def test_a_formula_in_a_seam_id_is_defused_in_the_data(analyses, sections):
    evil = sections.assign(section_id="=HYPERLINK(1)")
    html = evaluation_html(make_result(), evil, analyses)
    address = re.search(r'href="data:text/csv;charset=utf-8;base64,([^"]+)"', html)[1]
    rows = base64.b64decode(address).decode("utf-8").splitlines()[1:]
    assert all(row.startswith("'=HYPERLINK") for row in rows)


def test_the_descriptors_carry_unit_and_meaning(page):
    assert "height of specular over height of scatter" in page.text
    assert any(a.get("title") == "height of specular over height of scatter (dB)" for a in page.all("th"))


def test_a_growth_that_rounds_to_zero_has_no_sign(sections, analyses):
    result = make_result()
    tiny = result.descriptors[0].model_copy(
        update={"log_loss_increase": Estimate(n=9, estimate=-0.0001, low=-0.0002, high=0.0001)}
    )
    html = evaluation_html(result.model_copy(update={"descriptors": (tiny,)}), sections, analyses)
    assert "0.000 [0.000, 0.000] n&nbsp;=&nbsp;9" in html


def test_the_same_input_gives_the_same_bytes(html, sections, analyses):
    assert evaluation_html(make_result(note=HOSTILE), sections, analyses) == html


def test_the_page_is_written_whole(tmp_path, html, sections, analyses):
    path = tmp_path / "evaluation.html"
    write_evaluation_page(make_result(note=HOSTILE), sections, analyses, path)
    assert path.read_text(encoding="utf-8") == html
    assert [p.name for p in tmp_path.iterdir()] == ["evaluation.html"]


def test_eighty_drawn_sections_stay_below_six_megabytes(sections, analyses):
    import pandas as pd

    wrong = sections[sections["section_id"] == "S-001"]
    many = pd.concat([wrong.assign(section_id=f"T-{i:03d}") for i in range(80)], ignore_index=True)
    assert len(evaluation_html(make_result(), many, analyses).encode("utf-8")) < 6_000_000


def test_unclassified_sections_are_drawn_but_folded_away_and_errors_are_not(sections, analyses):
    html = evaluation_html(make_result(), sections, analyses)
    folded = "".join(re.findall(r"<details>.*?</details>", html, flags=re.S))
    open_text = re.sub(r"<details>.*?</details>", "", html, flags=re.S)
    for scope, own in sections.groupby("scope"):
        wrong = own[own["outcome"].isin(["wrong", "missed"])]["section_id"]
        assert all(f"<strong>{name}</strong>" in open_text for name in wrong), scope
        unanswered = own[own["outcome"] == "abstained"]["section_id"]
        assert all(f"<strong>{name}</strong>" in folded for name in unanswered), scope

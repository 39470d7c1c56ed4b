"""The process page as text: whole, safe, and small enough."""

from __future__ import annotations

import json
import re
from dataclasses import replace

from seamtell.pipeline.process_page.charts import vega_specifications
from seamtell.pipeline.process_page.page import MOST_BYTES, process_html
from seamtell.pipeline.process_page.view import CutRow, ProcessView
from seamtell.pipeline.report.palette import FLAW_MARKS


def test_a_year_of_one_plant_stays_below_five_megabytes(view: ProcessView) -> None:
    assert len(process_html(view).encode()) < MOST_BYTES


def test_nothing_is_loaded_from_anywhere(view: ProcessView) -> None:
    html = process_html(view)
    own = html[: html.index('id="data"')]
    assert not re.search(r'(src|href)="(?!data:|#)', own)
    assert "default-src 'none'" in html
    assert "connect-src" not in html


def test_the_answer_comes_first_and_the_caution_is_there(view: ProcessView) -> None:
    html = process_html(view)
    assert html.index("Pinhole is most likely") < html.index("<form")
    assert "nothing printed here releases a weld" in html


def test_what_people_named_cannot_become_markup(view: ProcessView) -> None:
    evil = '</script><img src=x onerror=alert(1)>"'
    bad = replace(view, shop=evil, lines=(evil,), cuts=(CutRow(1, evil, 1.0, "pinhole", evil),))
    html = process_html(bad)
    library = html.index("<script>", html.index('id="specs"'))
    assert "<img" not in html[:library]


def test_the_data_in_the_page_is_the_rows_given(view: ProcessView) -> None:
    html = process_html(view)
    text = re.search(r'id="data">(.*?)</script>', html, re.DOTALL)
    assert text
    tables = json.loads(text[1])["tables"]
    assert len(tables["mix"]["share"]) == len(view.mix)
    assert tables["weeks"]["flaws"] == [row.flaws for row in view.weeks]
    assert None in tables["mix"]["share"]


def test_without_checks_plan_and_hints_the_page_says_what_to_run(view: ProcessView) -> None:
    bare = replace(view, health="", health_rows=(), drift=(), cuts=(), cuts_note="", hints=(), pictures={})
    html = process_html(bare)
    for command in ("seamtell refcheck", "seamtell drift", "seamtell cutplan --budget N"):
        assert command in html


def test_marks_are_filled_in_the_figure_as_they_are_in_the_legend() -> None:
    scales = {one["name"]: one for one in vega_specifications(list(FLAW_MARKS))["mix"]["scales"]}
    assert len(FLAW_MARKS) == len(scales["fill"]["range"])
    for mark, inside, outline in zip(
        FLAW_MARKS.values(), scales["fill"]["range"], scales["stroke"]["range"], strict=True
    ):
        assert inside == (mark.colour if mark.filled else "transparent")
        assert outline == ("currentColor" if mark.filled else mark.colour)

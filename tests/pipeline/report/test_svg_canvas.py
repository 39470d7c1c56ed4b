from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.report.plain_text import plain_text, safe_slug
from seamtell.pipeline.report.svg_canvas import Canvas, thin_for_width


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=60))
def test_any_text_gives_well_formed_svg_that_shows_it(text):
    canvas = Canvas(10, 10, text)
    canvas.text(0, 0, text)
    root = ElementTree.fromstring(canvas.svg())
    assert [child.tag for child in root] == ["text"]
    assert (root[0].text or "") == plain_text(text)


def test_thinning_keeps_ends_and_every_extreme():
    x = np.arange(100_000, dtype=float)
    y = np.random.default_rng(1).normal(size=len(x))
    y[77_777] = 40.0
    thin_x, thin_y = thin_for_width(x, y, 300)
    assert len(thin_x) <= 602
    assert (thin_x[0], thin_x[-1]) == (x[0], x[-1])
    assert thin_y.max() == 40.0
    assert thin_y.min() == y.min()
    assert np.all(np.diff(thin_x) > 0)


def test_a_short_trace_is_not_thinned():
    x = np.arange(50, dtype=float)
    assert thin_for_width(x, x, 100)[0] is x


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=80))
def test_a_slug_is_a_plain_visible_file_name(text):
    slug = safe_slug(text)
    assert slug
    assert len(slug) <= 40
    assert set(slug) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")
    assert not slug.startswith("-")


def test_characters_that_turn_the_writing_direction_are_not_kept():
    assert plain_text("abc\u202edef") == "abc\ufffddef"


def test_long_text_is_cut_and_says_so():
    assert plain_text("x" * 500, 10) == "xxxxxxxxx…"

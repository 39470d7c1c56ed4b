"""Drawings: files that stand alone, equal bytes for equal input, marks that need no colour."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from seamtell.pipeline.dossier.figures import svg_file
from seamtell.pipeline.dossier.forest_figure import ForestRow, ForestScale, draw_forest
from seamtell.pipeline.dossier.pod_figure import draw_detection
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE

from .conftest import HOSTILE, fitted, refused

SCALE = ForestScale(0.0, 1.0, "share")
KNOWN = ForestRow("L1", Estimate(n=30, estimate=0.5, low=0.3, high=0.7), "n = 30")
UNKNOWN = ForestRow("L2", Estimate(n=4, unknown="too few"), "4, too few")


def test_every_figure_is_a_file_that_parses_alone(content):
    for one in content.figures():
        root = ElementTree.fromstring(svg_file(one.svg, one.alt))
        assert root.tag == "{http://www.w3.org/2000/svg}svg", one.name
        assert root.get("width"), one.name
        ids = [element.get("id") for element in root.iter() if element.get("id")]
        assert len(ids) == len(set(ids)), one.name


def test_neutral_ink_follows_the_page(content):
    for one in content.figures():
        assert INK_LIGHT_PAGE not in one.svg.upper(), one.name


def test_the_same_figure_gives_the_same_bytes():
    assert draw_forest([KNOWN, UNKNOWN], SCALE, "a", "f") == draw_forest([KNOWN, UNKNOWN], SCALE, "a", "f")


def test_what_is_unknown_is_hatched_and_has_no_dot():
    assert "<pattern" in draw_forest([UNKNOWN], SCALE, "a", "f")
    assert "<pattern" not in draw_forest([KNOWN], SCALE, "a", "f")
    # Matplotlib places each marker with a <use> element; ticks of the axis are markers too.
    with_dot, without = draw_forest([KNOWN], SCALE, "a", "f"), draw_forest([UNKNOWN], SCALE, "a", "f")
    assert with_dot.count("<use") == without.count("<use") + 1


def test_names_from_outside_are_drawn_as_text():
    svg = draw_forest([ForestRow(HOSTILE, None, HOSTILE, bounds=(0.1, 0.9))], SCALE, "a", HOSTILE)
    root = ElementTree.fromstring(svg)
    assert not [element for element in root.iter() if element.tag.endswith(("script", "img"))]
    assert any((element.text or "").startswith("<script>") for element in root.iter())


@pytest.mark.parametrize(("found", "marks"), [(fitted("pinhole", "specular", "logit", 1.4), 20)])
def test_every_sized_flaw_is_drawn_once(found, marks):
    empty = found.model_copy(update={"points": ()})
    drawn, bare = (draw_detection(one, 2.0, "a", "f").count("<use") for one in (found, empty))
    assert drawn - bare == marks


def test_a_refused_curve_is_hatched_and_named_by_no_size():
    svg = draw_detection(refused("pinhole", "scatter", "logit"), 2.0, "a", "f")
    assert "<pattern" in svg
    assert "a90" not in svg

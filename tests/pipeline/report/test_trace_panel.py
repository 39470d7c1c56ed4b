from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from seamtell.pipeline.report.section_marks import SectionMark
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct

from .conftest import HOSTILE

FRAME = PanelFrame((60.0, 180.0), 50.0)


def parse(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def by_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in root if name in (element.get("class") or "").split()]


def points(element: ElementTree.Element) -> np.ndarray:
    return np.array([[float(v) for v in p.split()] for p in element.get("d")[1:].split("L")])


def test_the_drawn_line_is_the_trace_to_a_tenth_of_a_pixel(analysis):
    root = parse(draw_panel(analysis, FRAME, finding="f"))
    line = next(e for e in by_class(root, "specular") if "baseline" not in e.get("class"))
    positions = analysis.trace.positions_mm()
    inside = (positions >= 60.0) & (positions <= 180.0)
    expected = np.column_stack(
        [FRAME.x(positions[inside]), FRAME.y(analysis.trace.amplitudes_pct["specular"][inside])]
    )
    np.testing.assert_allclose(points(line), expected, atol=0.051)


def test_both_channels_and_both_baselines_are_drawn(analysis):
    root = parse(draw_panel(analysis, FRAME, finding="f"))
    assert len(by_class(root, "baseline")) == 2
    assert {e.text for e in root if e.tag == "text"} >= {"specular", "scatter", "limit 20 %"}


def test_an_indication_beyond_the_limit_is_outlined_and_one_below_is_not(analysis):
    beyond = parse(draw_panel(analysis, FRAME, finding="f"))
    below = parse(draw_panel(analysis, PanelFrame((200.0, 320.0), 50.0), finding="f"))
    assert len(by_class(beyond, "beyond")) == 1
    assert len(by_class(below, "band")) == 1
    assert not by_class(below, "beyond")


def test_the_band_covers_the_extent_of_the_indication(analysis):
    band = by_class(parse(draw_panel(analysis, FRAME, finding="f")), "band")[0]
    found = analysis.indications[0]
    assert float(band.get("x")) == pytest.approx(float(FRAME.x(found.start_mm)), abs=0.051)
    width = float(FRAME.x(found.end_mm) - FRAME.x(found.start_mm))
    assert float(band.get("width")) == pytest.approx(width, abs=0.051)


def test_the_first_section_is_named_and_every_one_is_marked(analysis):
    marks = (SectionMark("S-9", 120.0, 2.0, "pinhole"), SectionMark("S-8", 150.0, 2.0, "sound"))
    root = parse(draw_panel(analysis, FRAME, sections=marks, finding="f"))
    assert [e.text for e in root if e.text and "S-" in e.text] == ["▼ S-9: pinhole"]
    assert len([e for e in by_class(root, "section") if e.tag == "path"]) == 2


def test_dead_zones_are_hatched(analysis):
    root = parse(draw_panel(analysis, PanelFrame((0.0, 400.0), 50.0), finding="f"))
    assert len(by_class(root, "hatch")) == 2


def test_a_limit_above_the_scale_is_named_with_an_arrow(analysis):
    root = parse(draw_panel(analysis, PanelFrame((200.0, 320.0), 10.0), finding="f"))
    assert "↑ limit 20 %" in [e.text for e in root]
    assert not by_class(root, "limit")


def test_a_window_beyond_the_seam_is_drawn_without_a_line(analysis):
    root = parse(draw_panel(analysis, PanelFrame((900.0, 950.0), 10.0), finding="f"))
    assert not by_class(root, "specular")


def test_hostile_text_stays_text(analysis):
    marks = (SectionMark(HOSTILE, 120.0, 2.0, HOSTILE),)
    root = parse(draw_panel(analysis, FRAME, labels={0: HOSTILE}, sections=marks, finding=HOSTILE))
    assert {e.tag for e in root} <= {"path", "rect", "text", "circle"}


def test_the_scale_is_the_smallest_that_shows_every_panel():
    assert shared_scale_pct([3.0, 9.9]) == 10.0
    assert shared_scale_pct([3.0, 10.1]) == 25.0
    assert shared_scale_pct([]) == 10.0
    assert shared_scale_pct([100.0]) == 100.0


def test_highest_reads_both_channels_in_the_window_only(analysis):
    assert highest_pct(analysis, (60.0, 180.0)) == pytest.approx(37.0, abs=0.8)
    assert highest_pct(analysis, (200.0, 320.0)) == pytest.approx(10.0, abs=0.8)
    assert highest_pct(analysis, (900.0, 950.0)) == 0.0


def test_names_of_crowded_indications_do_not_lie_on_one_another(analysis):
    one = analysis.indications[0]
    crowd = tuple(replace(one, indication=k, peak_mm=one.peak_mm + 4.0 * k) for k in range(1, 7))
    labels = dict.fromkeys(range(1, 7), "lack_of_fusion")
    root = parse(draw_panel(replace(analysis, indications=crowd), FRAME, labels=labels, finding="f"))
    names = [e for e in root if e.text and "lack of fusion" in e.text]
    assert len(names) == 6
    heights = [float(name.get("y")) for name in names]
    top = float(root.get("viewBox").split()[1])
    assert len(set(heights)) == 6
    assert min(heights) - 9.0 >= top

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from seamtell.features.describer import SeamAnalysis
from seamtell.pipeline.report.figure_files import figure_svg
from seamtell.pipeline.report.section_marks import section_marks
from seamtell.pipeline.report.trace_figure import draw_seam

from .conftest import LIMITS, make_trace


def texts(figure) -> list[str]:
    root = ElementTree.fromstring(figure_svg(figure))
    return ["".join(element.itertext()).strip() for element in root.iter("{http://www.w3.org/2000/svg}text")]


@pytest.fixture
def cut() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "section_id": ["S-1", "S-2"],
            "seam_id": ["MB-0001", "another"],
            "position_mm": [121.0, 60.0],
            "position_tol_mm": [1.5, 1.5],
            "flaw": ["lack_of_fusion", "pinhole"],
        }
    )


def test_axes_carry_their_units(analysis):
    found = texts(draw_seam(analysis))
    assert "position along the seam (mm)" in found
    assert "amplitude (% FSH)" in found


def test_channels_and_limits_are_named_on_the_drawing(analysis):
    found = texts(draw_seam(analysis))
    assert {"specular", "scatter", "specular limit 20 %", "scatter limit 20 %"} <= set(found)


def test_both_channels_are_drawn_with_their_values_and_styles(analysis):
    axes = draw_seam(analysis).axes[0]
    for channel, style in (("specular", "-"), ("scatter", "--")):
        expected = analysis.trace.amplitudes_pct[channel]
        lines = [line for line in axes.lines if len(line.get_ydata()) == len(expected)]
        match = [line for line in lines if np.array_equal(line.get_ydata(), expected)]
        assert len(match) == 1
        assert match[0].get_linestyle() == style


def test_the_baseline_is_dotted_in_the_colour_of_its_channel(analysis):
    axes = draw_seam(analysis).axes[0]
    baseline = analysis.baseline_pct["specular"]
    match = [line for line in axes.lines if np.array_equal(line.get_ydata(), baseline)]
    assert [line.get_linestyle() for line in match] == [":"]
    assert match[0].get_color() == "#0072B2"


def test_indications_carry_number_and_label(analysis):
    found = texts(draw_seam(analysis, {0: "lack_of_fusion"}))
    assert "0 lack of fusion" in found
    assert "1" in found


def test_only_the_section_of_this_seam_is_marked(analysis, cut):
    found = texts(draw_seam(analysis, sections=cut))
    assert "section S-1: lack of fusion" in found
    assert not any("S-2" in text for text in found)


def test_section_tolerance_is_drawn_as_a_bar_of_its_length(analysis, cut):
    axes = draw_seam(analysis, sections=cut).axes[0]
    assert any(list(line.get_xdata()) == [119.5, 122.5] for line in axes.lines)


def test_dead_zones_are_marked(analysis):
    assert texts(draw_seam(analysis)).count("dead zone") == 2


def test_a_window_shows_only_its_stretch(analysis):
    figure = draw_seam(analysis, window_mm=(200.0, 300.0))
    assert figure.axes[0].get_xlim() == (200.0, 300.0)
    assert "0" not in [text for text in texts(figure) if text == "0 lack of fusion"]
    assert figure.axes[0].get_ylim()[1] < 30.0


def analysis_of(trace, limits):
    """As if the baseline were the trace itself, without indications."""
    flat = {name: values.astype(float) for name, values in trace.amplitudes_pct.items()}
    return SeamAnalysis(trace, limits, flat, dict.fromkeys(flat, 7.0), dict.fromkeys(flat, 0.1), ())


def test_a_trace_of_one_sample_is_drawn():
    trace = make_trace("one", (), n=1)
    one = analysis_of(trace, LIMITS)
    assert "position along the seam (mm)" in texts(draw_seam(one))


def test_a_limit_far_above_the_trace_is_named_instead_of_flattening_the_trace():
    trace = make_trace("low", ())
    far = type(LIMITS)("R1", {"specular": 90.0, "scatter": 90.0}, 10.0, 10.0, 9.4)
    found = texts(draw_seam(analysis_of(trace, far)))
    assert "specular limit 90 %, above" in found


def test_section_marks_read_the_matched_table_too(sections):
    marks = section_marks(sections, "MB-0001")
    assert [mark.section_id for mark in marks][:2] == ["S-008", "S-001"]
    assert marks[1].truth == "edge notch"
    assert marks[1].tolerance_mm == 3.0


def test_a_channel_is_named_at_its_level_before_the_dead_zone(analysis):
    trace = analysis.trace
    at_the_end = trace.positions_mm() > trace.end_mm - analysis.limits.dead_zone_end_mm
    assert at_the_end.any()
    swapped = {
        "specular": np.where(at_the_end, 0.0, trace.amplitudes_pct["specular"]).astype(np.float32),
        "scatter": np.where(at_the_end, 30.0, trace.amplitudes_pct["scatter"]).astype(np.float32),
    }
    changed = replace(analysis, trace=replace(trace, amplitudes_pct=swapped))
    height = {t.get_text(): t.get_position()[1] for t in draw_seam(changed).axes[0].texts}
    assert height["specular"] > height["scatter"]

from __future__ import annotations

import re

from seamtell.pipeline.report.trace_page import DrawnSeam, trace_page_html, write_trace_page

from .conftest import HOSTILE


def test_every_seam_is_drawn_with_its_count_of_indications(analysis, hostile_analysis):
    html = trace_page_html("title", "lead", [DrawnSeam(analysis), DrawnSeam(hostile_analysis, "c")])
    assert html.count('<figure class="panel">') == 2
    assert html.count("2 indications, 1 beyond the limit") == 4  # caption and alternative text of both


def test_title_lead_and_ids_stay_text(hostile_analysis):
    html = trace_page_html(HOSTILE, HOSTILE, [DrawnSeam(hostile_analysis, HOSTILE, {0: HOSTILE})])
    assert "<script" not in html
    assert "<img" not in html


def test_one_scale_for_all_unless_said_otherwise(analysis):
    small = DrawnSeam(analysis, window_mm=(200.0, 320.0))
    large = DrawnSeam(analysis, window_mm=(60.0, 180.0))
    together = trace_page_html("t", "l", [small, large])
    apart = trace_page_html("t", "l", [small, large], same_scale=False)
    assert "All panels share one scale, 0 to 50 % FSH" in together
    assert "Each panel has its own amplitude scale" in apart
    assert len(re.findall(r">50</text>", together)) == 2
    assert len(re.findall(r">50</text>", apart)) == 1


def test_labels_are_part_of_the_alternative_text(analysis):
    html = trace_page_html("t", "l", [DrawnSeam(analysis, labels={0: "edge_notch", 1: "pinhole"})])
    assert "1 beyond the limit (edge notch, pinhole)" in html


def test_the_page_is_written(tmp_path, analysis):
    write_trace_page(tmp_path / "p.html", "t", "l", [DrawnSeam(analysis)])
    assert (tmp_path / "p.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_every_section_of_a_seam_is_named(analysis, sections):
    twice = sections.copy()
    twice["seam_id"] = analysis.trace.seam_id
    html = trace_page_html("t", "l", [DrawnSeam(analysis)], twice.head(2))
    for name in twice["section_id"].head(2):
        assert f"▼ {name}: " in html


def test_the_verdict_stands_beside_the_seam(analysis):
    html = trace_page_html("t", "l", [DrawnSeam(analysis, verdict="review")])
    assert '<span class="ruling r-review">review</span>' in html

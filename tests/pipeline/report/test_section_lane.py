from __future__ import annotations

import itertools

import pandas as pd
import pytest
from matplotlib.figure import Figure

from seamtell.pipeline.report.section_lane import draw_lane, lane_height, lane_marks

WINDOW, PER_CHARACTER = (0.0, 400.0), 3.0


def table(*positions: float) -> pd.DataFrame:
    rows = [("MB-1", f"CUT-{i}", at, 2.0, "edge_notch") for i, at in enumerate(positions)]
    return pd.DataFrame(rows, columns=["seam_id", "section_id", "position_mm", "position_tol_mm", "flaw"])


@pytest.mark.parametrize("positions", [(100.0, 300.0), (100.0, 120.0), (100.0, 110.0, 120.0), (330.0, 390.0)])
def test_names_of_neighbouring_sections_are_drawn_beside_or_above_one_another(positions):
    figure = Figure(figsize=(9.2, 4.2))
    axes = figure.add_axes((0.07, 0.14, 0.755, 0.6))
    marks = lane_marks(table(*positions), "MB-1", WINDOW, 400.0 * 0.066 / (0.755 * 9.2))
    axes.set_xlim(WINDOW)
    axes.set_ylim(-lane_height(marks) * 20.0, 20.0)
    draw_lane(axes, marks, 20.0, 8.5)
    figure.canvas.draw()
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == len(positions)
    assert not any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))
    assert all(box.x1 <= figure.bbox.x1 for box in boxes)


def test_sections_far_apart_share_the_lowest_row():
    marks = lane_marks(table(50.0, 250.0), "MB-1", WINDOW, PER_CHARACTER)
    assert [mark.row for mark in marks] == [0, 0]


def test_the_lane_is_no_higher_than_its_rows():
    one, two = (lane_marks(table(*at), "MB-1", WINDOW, PER_CHARACTER) for at in [(50.0,), (50.0, 60.0)])
    assert lane_height(()) == lane_height(one) < lane_height(two)


def test_only_sections_of_the_seam_inside_the_window_are_named():
    marks = lane_marks(table(50.0, 250.0), "MB-1", (200.0, 300.0), PER_CHARACTER)
    assert [mark.text for mark in marks] == ["section CUT-1: edge notch"]
    assert lane_marks(table(50.0), "MB-2", WINDOW, PER_CHARACTER) == ()


def test_a_name_without_room_at_the_right_stands_at_the_left():
    assert [m.leftward for m in lane_marks(table(50.0, 399.0), "MB-1", WINDOW, PER_CHARACTER)] == [
        False,
        True,
    ]

from __future__ import annotations

import itertools

from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.report.label_places import spread_apart, stacked_rows

levels = st.lists(st.floats(0.0, 100.0), min_size=1, max_size=6)


@settings(max_examples=60, deadline=None)
@given(levels)
def test_spread_labels_keep_their_gap_and_stay_on_the_margin(wanted):
    placed = spread_apart(wanted, gap=10.0, low=0.0, high=100.0)
    assert all(-1e-9 <= place <= 100.0 + 1e-9 for place in placed)
    assert all(b - a >= 10.0 - 1e-9 for a, b in itertools.pairwise(sorted(placed)))


@settings(max_examples=60, deadline=None)
@given(levels)
def test_spread_labels_keep_their_order(wanted):
    placed = spread_apart(wanted, gap=10.0, low=0.0, high=100.0)
    pairs = itertools.permutations(range(len(wanted)), 2)
    assert all(placed[i] < placed[j] for i, j in pairs if wanted[i] < wanted[j])


def test_labels_far_apart_are_not_moved():
    assert spread_apart([10.0, 50.0, 90.0], gap=10.0, low=0.0, high=100.0) == (10.0, 50.0, 90.0)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.0, 50.0), min_size=1, max_size=4))
def test_labels_of_one_row_do_not_overlap_while_there_are_rows_left(starts):
    starts = sorted(starts)
    rows = stacked_rows(starts, [8.0] * len(starts), rows=4)
    for i, j in itertools.combinations(range(len(starts)), 2):
        if rows[i] == rows[j]:
            assert starts[i] + 8.0 <= starts[j]


def test_no_leader_line_crosses_the_text_of_another_label():
    # The label on the left goes up: its leader stands left of the text of the one on the right.
    assert stacked_rows([0.0, 2.0, 4.0], [8.0] * 3, rows=3) == (2, 1, 0)


def test_a_tall_label_on_the_right_lifts_the_one_whose_text_its_leader_would_cross():
    # The second is lifted over the third; the first ends before the third, but not before the second.
    assert stacked_rows([85.0, 117.0, 202.0], [62.0, 96.0, 50.0], rows=3) == (2, 1, 0)

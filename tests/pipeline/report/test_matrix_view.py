from __future__ import annotations

import pytest

from seamtell.pipeline.report.matrix_view import FEW, matrix_view

from .conftest import make_result


@pytest.fixture
def view():
    scope = make_result().held_out
    return matrix_view(scope.matrix, scope.per_class)


def test_rows_are_truth_and_unknown_answers_stand_apart(view):
    assert [row.truth for row in view.rows] == [
        "pinhole",
        "edge_notch",
        "lack_of_fusion",
        "mismatch",
        "sound",
    ]
    assert view.unknown == ("unclassified", "missed")
    assert "unclassified" not in view.answers


def test_shares_of_a_row_add_up_to_one(view):
    for row in view.rows:
        assert sum(cell.share for cell in (*row.named, *row.unknown)) == pytest.approx(1.0)


def test_the_diagonal_is_where_truth_and_answer_agree(view):
    for row in view.rows:
        assert [cell.answer for cell in row.named if cell.diagonal] == [row.truth]


def test_a_row_below_twenty_sections_says_few(view):
    assert FEW == 20
    assert [row.truth for row in view.rows if row.few] == ["sound"]


def test_only_a_sound_section_without_indication_is_quiet(view):
    quiet = [(row.truth, cell.answer) for row in view.rows for cell in row.unknown if cell.quiet]
    assert quiet == [("sound", "missed")]


def test_the_finding_names_the_most_frequent_error(view):
    assert view.finding == (
        "78 of 100 sections lie on the diagonal, 8 are unclassified, 5 are sound with nothing indicated; "
        "the most frequent error is mismatch named pinhole (3 sections)."
    )


def test_a_matrix_without_sections_has_no_share_and_no_error():
    scope = make_result().held_out
    empty = scope.matrix.model_copy(update={"counts": tuple((0,) * 7 for _ in range(5))})
    view = matrix_view(empty, scope.per_class)
    assert view.finding.endswith("no section got a wrong label.")
    assert all(cell.share == 0.0 for row in view.rows for cell in row.named)

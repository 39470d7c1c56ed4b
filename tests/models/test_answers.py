from __future__ import annotations

import numpy as np
import pytest

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.answers import Answers, unclassified_answers
from seamtell.models.reasons import Reason

CLASSES = ("pinhole", "mismatch", "sound")
LABELS = ("mismatch", UNCLASSIFIED, "pinhole")
SETS = (("mismatch",), ("pinhole", "sound"), ("pinhole",))
REASONS = ("", "ambiguous", "")
PROBABILITIES = np.array([[0.1, 0.8, 0.1], [0.4, 0.2, 0.4], [0.9, 0.05, 0.05]])


@pytest.fixture
def answers() -> Answers:
    return Answers.of_names(CLASSES, PROBABILITIES, LABELS, SETS, np.array([0.5, 0.2, 0.9]), REASONS)


def test_names_come_back_from_codes(answers: Answers) -> None:
    assert (answers.labels, answers.label_sets, answers.reasons) == (LABELS, SETS, REASONS)
    assert answers.codes.tolist() == [1, -1, 0]


@pytest.mark.parametrize("rows", [np.array([2, 0]), np.array([], int), slice(1, 3)])
def test_rows_are_taken_from_every_column(answers: Answers, rows) -> None:
    some = answers.take(rows)
    kept = np.arange(3)[rows]
    assert some.labels == tuple(LABELS[i] for i in kept)
    assert some.label_sets == tuple(SETS[i] for i in kept)
    assert some.reasons == tuple(REASONS[i] for i in kept)
    assert (some.probabilities == PROBABILITIES[kept]).all()
    assert some.novelty_p.tolist() == answers.novelty_p[kept].tolist()


def test_more_classes_in_another_order_change_no_name(answers: Answers) -> None:
    wide = answers.among(("edge_notch", "sound", "pinhole", "mismatch"))
    assert (wide.labels, wide.reasons) == (LABELS, REASONS)
    assert [set(members) for members in wide.label_sets] == [set(members) for members in SETS]
    assert np.isnan(wide.probabilities[:, 0]).all()
    assert (wide.probabilities[:, [2, 3, 1]] == PROBABILITIES).all()


def test_a_class_that_would_be_lost_is_refused(answers: Answers) -> None:
    with pytest.raises(ValueError, match="tuple"):
        answers.among(("pinhole", "sound"))


@pytest.mark.parametrize(
    ("labels", "sets", "reasons"),
    [(("accept",), ((),), ("",)), (("sound",), (("accept",),), ("",)), (("sound",), ((),), ("because",))],
)
def test_names_that_do_not_exist_are_refused(labels, sets, reasons) -> None:
    with pytest.raises(ValueError, match=r"not in tuple|not a valid Reason"):
        Answers.of_names(CLASSES, PROBABILITIES[:1], labels, sets, np.ones(1), reasons)


@pytest.mark.parametrize("reason", list(Reason))
def test_every_reason_has_a_code(reason: Reason) -> None:
    assert unclassified_answers(2, CLASSES, reason).reasons == (reason.value,) * 2

"""The confusion matrix against scikit-learn, and the honest reading of its margins."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import confusion_matrix as sklearn_matrix
from sklearn.metrics import precision_score, recall_score

from seamtell.pipeline.evaluation.confusion import (
    abstentions,
    by_purpose,
    class_figures,
    confusion_matrix,
    missed_share,
)
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS


@pytest.fixture
def many(cut, answered):
    """Two hundred sections answered at random, some abstained, some without an indication."""
    rng = np.random.default_rng(11)
    choices = [*MATRIX_ROWS, "unclassified", ""]
    return answered(*(cut(str(rng.choice(MATRIX_ROWS)), str(rng.choice(choices))) for _ in range(200)))


def test_the_counts_are_those_of_scikit_learn(many) -> None:
    # Outside reference: sklearn.metrics.confusion_matrix.
    expected = sklearn_matrix(many.frame["truth"], many.frame["answer"], labels=list(MATRIX_COLUMNS))
    assert confusion_matrix(many.frame).counts == tuple(map(tuple, expected[: len(MATRIX_ROWS)].tolist()))


def test_recall_and_precision_are_those_of_scikit_learn(many) -> None:
    # Outside reference: sklearn.metrics; the recall of sound is over indicated sections only.
    figures = {one.label: one for one in class_figures(confusion_matrix(many.frame))}
    labels = list(MATRIX_ROWS)
    recall = recall_score(many.frame["truth"], many.frame["answer"], labels=labels, average=None)
    precision = precision_score(many.frame["truth"], many.frame["answer"], labels=labels, average=None)
    for label, expected in zip(labels[:-1], recall[:-1], strict=True):
        assert figures[label].recall.estimate == pytest.approx(expected)
    for label, expected in zip(labels, precision, strict=True):
        assert figures[label].precision.estimate == pytest.approx(expected)
    shown = many.frame[(many.frame["truth"] == "sound") & (many.frame["answer"] != "missed")]
    assert figures["sound"].recall.estimate == pytest.approx((shown["answer"] == "sound").mean())


def test_shared_and_left_out_sections_are_not_counted(cut, answered) -> None:
    sections = answered(
        cut("pinhole", "pinhole", seam_id="A"),
        cut("pinhole", seam_id="A", shared_with=0),
        cut("sound", "sound", left_out="conflicting_traces"),
    )
    assert sum(map(sum, confusion_matrix(sections.frame).counts)) == 1


def test_the_missed_share_is_unknown_where_nothing_unflagged_was_cut(cut, answered) -> None:
    matrix = confusion_matrix(answered(cut("pinhole", "pinhole"), cut("sound", "sound")).frame)
    assert missed_share(matrix).estimate is None
    assert missed_share(matrix).unknown == "nothing unflagged was cut"


def test_one_quiet_audit_cut_makes_the_missed_share_known(cut, answered) -> None:
    matrix = confusion_matrix(answered(cut("pinhole", "pinhole"), cut("sound", purpose="random")).frame)
    figure = missed_share(matrix)
    assert (figure.count, figure.n) == (0, 1)
    assert figure.high == pytest.approx(0.975)


def test_targeted_and_random_cuts_are_told_apart(cut, answered) -> None:
    sections = answered(
        cut("pinhole", "pinhole"),
        cut("pinhole", "sound"),
        cut("mismatch", purpose="random"),
        cut("sound", purpose="random"),
        cut("mismatch", "mismatch", purpose="random"),
    )
    targeted, random = by_purpose(sections.frame)
    assert (targeted.purpose, targeted.missed.unknown) == ("targeted", "nothing unflagged was cut")
    assert (random.purpose, random.missed.count, random.missed.n, random.unflagged) == ("random", 1, 2, 2)
    assert targeted.right.estimate == 0.5


def test_abstained_and_missed_count_against_recall_but_not_against_answered_recall(cut, answered) -> None:
    sections = answered(
        cut("pinhole", "pinhole"), cut("pinhole", "unclassified", reason="novel"), cut("pinhole")
    )
    figures = class_figures(confusion_matrix(sections.frame))[0]
    assert (figures.recall.count, figures.recall.n) == (1, 3)
    assert (figures.recall_answered.count, figures.recall_answered.n) == (1, 1)
    assert (figures.abstained.count, figures.abstained.n) == (1, 2)
    assert (figures.missed.count, figures.missed.n) == (1, 3)


def test_a_class_without_sections_is_unknown(cut, answered) -> None:
    figures = class_figures(confusion_matrix(answered(cut("pinhole", "pinhole")).frame))
    mismatch = next(one for one in figures if one.label == "mismatch")
    assert mismatch.recall.estimate is None
    assert mismatch.precision.unknown == "no section labelled so"


def test_abstentions_are_counted_by_reason_the_most_frequent_first(cut, answered) -> None:
    reasons = ["novel", "ambiguous", "ambiguous"]
    sections = answered(*(cut("pinhole", "unclassified", reason=reason) for reason in reasons))
    assert [(one.reason, one.count) for one in abstentions(sections.frame)] == [
        ("ambiguous", 2),
        ("novel", 1),
    ]

"""Reliability bins against scikit-learn, and coverage of label sets."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve

from seamtell.pipeline.evaluation.reliability import reliability_bins, set_coverage

CLASSES = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")


def test_bins_are_those_of_scikit_learn(cut, answered) -> None:
    # Outside reference: sklearn.calibration.calibration_curve on "the top label is right".
    rng = np.random.default_rng(12)
    top = rng.uniform(0.25, 0.999, size=300)
    cuts = [cut(str(rng.choice(CLASSES)), "mismatch", top="mismatch", probability=float(p)) for p in top]
    right = np.array([one.truth == "mismatch" for one in cuts])
    seen, stated = calibration_curve(right, top, n_bins=5, strategy="uniform")
    bins = reliability_bins(answered(*cuts), bins=5)
    assert [one.right.estimate for one in bins] == pytest.approx(seen)
    assert [one.mean_probability for one in bins] == pytest.approx(stated)
    assert sum(one.right.n for one in bins) == 300


def test_a_certain_answer_has_a_bin(cut, answered) -> None:
    (only,) = reliability_bins(answered(cut("pinhole", "pinhole", probability=1.0)))
    assert only.high_edge == 1.0
    assert only.right.count == 1


def test_sections_without_an_indication_are_in_no_bin(cut, answered) -> None:
    assert reliability_bins(answered(cut("pinhole"), cut("sound"))) == ()


def test_coverage_counts_sets_that_hold_the_truth(cut, answered) -> None:
    sections = answered(
        cut("pinhole", "pinhole"),
        cut("pinhole", "unclassified", label_set=("pinhole", "sound"), reason="ambiguous"),
        cut("pinhole", "sound"),
        cut("pinhole"),
    )
    pinhole = set_coverage(sections, error_rate=0.1)[0]
    assert (pinhole.coverage.count, pinhole.coverage.n) == (2, 3)
    assert pinhole.aimed == pytest.approx(0.9)
    assert pinhole.mean_set_size == pytest.approx(4 / 3)


def test_coverage_of_a_class_without_sections_is_unknown(cut, answered) -> None:
    by_class = {one.label: one for one in set_coverage(answered(cut("pinhole", "pinhole")), 0.1)}
    assert by_class["mismatch"].coverage.estimate is None
    assert by_class["mismatch"].mean_set_size is None

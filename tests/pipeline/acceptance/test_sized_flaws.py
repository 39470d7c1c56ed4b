"""Which sections tell of detection, with which size, and what counts as a hit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seamtell.pipeline.acceptance.detectors import SIZES_OF, Detector, FlawSize
from seamtell.pipeline.acceptance.sized_flaws import detection_rows, detections

INDICATIONS = pd.DataFrame(
    {
        "seam_id": ["a", "b"],
        "indication": [0, 0],
        "channels": ["specular", "specular+scatter"],
    }
)
SECTIONS = pd.DataFrame(
    {
        "section_id": ["1", "2", "3", "4", "5", "6"],
        "length_mm": [1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
        "depth_mm": [0.1, 0.2, np.nan, 0.4, 0.5, 0.6],
        "width_mm": np.nan,
    }
)


def _frame(**changes: list[object]) -> pd.DataFrame:
    columns: dict[str, object] = {
        "section_id": ["1", "2", "3", "4", "5", "6"],
        "seam_id": ["a", "b", "c", "d", "e", "f"],
        "truth": ["edge_notch"] * 5 + ["sound"],
        "purpose": "targeted",
        "outcome": ["right", "abstained", "missed", "shared", "left_out", "quiet"],
        "reason": ["", "", "", "", "class_left_out", ""],
        "indication": pd.array([0, 0, pd.NA, pd.NA, pd.NA, pd.NA], dtype="Int64"),
        "limit_exceeded": [False, True, False, True, False, False],
    }
    return pd.DataFrame(columns | changes)


@pytest.fixture
def rows() -> pd.DataFrame:
    return detection_rows(_frame(), INDICATIONS, SECTIONS)


def test_second_cuts_and_sound_seam_do_not_count_but_untaught_classes_do(rows: pd.DataFrame) -> None:
    assert rows["section_id"].tolist() == ["1", "2", "3", "5"]


def test_a_section_that_cannot_be_judged_does_not_count() -> None:
    frame = _frame(reason=["", "", "", "", "conflicting_traces", ""])
    assert detection_rows(frame, INDICATIONS, SECTIONS)["section_id"].tolist() == ["1", "2", "3"]


def test_each_detector_has_its_own_hits(rows: pd.DataFrame) -> None:
    assert rows[Detector.SPECULAR].tolist() == [True, True, False, False]
    assert rows[Detector.SCATTER].tolist() == [False, True, False, False]
    assert rows[Detector.EITHER].tolist() == [True, True, False, False]
    assert rows[Detector.LIMIT_RULE].tolist() == [False, True, False, False]


def test_each_class_is_told_over_its_own_sizes(rows: pd.DataFrame) -> None:
    told = {(one.label, one.size) for one in detections(rows)}
    assert told == {(flaw.value, size.value) for flaw, sizes in SIZES_OF.items() for size in sizes}


def test_a_flaw_without_the_size_is_counted_and_not_drawn(rows: pd.DataFrame) -> None:
    notch = next(one for one in detections(rows) if one.label == "edge_notch")
    assert notch.size == FlawSize.DEPTH
    assert notch.sections_without_size == 1
    assert [point.section_id for point in notch.points] == ["1", "2", "5"]


def test_the_words_warn_of_targeted_cuts(rows: pd.DataFrame) -> None:
    notch = next(one for one in detections(rows) if one.label == "edge_notch")
    assert "3 sized flaws, 3 of them from targeted cuts" in notch.words
    assert "overrate detection" in notch.words


def test_too_few_flaws_give_a_refusal_and_no_size(rows: pd.DataFrame) -> None:
    for one in detections(rows):
        assert one.a90_95_mm is None
        assert any(concern.refusal for concern in one.concerns)

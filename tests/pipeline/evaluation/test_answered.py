"""What becomes of a section."""

from __future__ import annotations

import numpy as np

from seamtell.pipeline.evaluation.result import SECTION_COLUMNS


def test_each_section_gets_its_outcome(cut, answered) -> None:
    sections = answered(
        cut("pinhole", "pinhole"),
        cut("pinhole", "sound"),
        cut("mismatch", "unclassified", reason="ambiguous"),
        cut("edge_notch"),
        cut("sound"),
        cut("sound", "sound"),
    )
    assert sections.frame["outcome"].tolist() == ["right", "wrong", "abstained", "missed", "quiet", "right"]
    assert tuple(sections.frame.columns) == SECTION_COLUMNS


def test_a_second_cut_through_the_same_flaw_is_counted_once(cut, answered) -> None:
    sections = answered(
        cut("lack_of_fusion", "lack_of_fusion", seam_id="A"),
        cut("lack_of_fusion", seam_id="A", shared_with=0),
        cut("sound", seam_id="A", shared_with=0),
    )
    assert sections.frame["outcome"].tolist() == ["right", "shared", "shared"]


def test_another_flaw_hidden_in_the_same_indication_is_missed(cut, answered) -> None:
    sections = answered(
        cut("lack_of_fusion", "lack_of_fusion", seam_id="A"), cut("pinhole", seam_id="A", shared_with=0)
    )
    assert sections.frame["outcome"].tolist() == ["right", "missed"]


def test_a_section_that_cannot_be_judged_says_why_and_has_no_answer(cut, answered) -> None:
    frame = answered(cut("pinhole", "pinhole", left_out="conflicting_traces")).frame
    assert frame.loc[0, ["outcome", "answer", "reason"]].tolist() == ["left_out", "", "conflicting_traces"]


def test_the_forced_label_is_the_most_probable_also_where_the_model_abstained(cut, answered) -> None:
    sections = answered(cut("mismatch", "unclassified", top="mismatch", reason="novel"), cut("pinhole"))
    assert sections.forced_labels(sections.probabilities).tolist() == ["mismatch", "missed"]
    assert sections.frame.loc[0, "top_label"] == "mismatch"
    assert np.isnan(sections.frame.loc[1, "top_probability"])


def test_an_indication_without_probabilities_is_forced_to_nothing(cut, answered) -> None:
    sections = answered(cut("mismatch", "unclassified", probability=float("nan"), reason="model_error"))
    assert sections.forced_labels(sections.probabilities).tolist() == ["unclassified"]
    assert sections.frame.loc[0, "top_label"] == ""


def test_quiet_and_left_out_sections_are_not_scored(cut, answered) -> None:
    sections = answered(
        cut("sound"), cut("pinhole"), cut("sound", "sound"), cut("pinhole", "pinhole", left_out="x")
    )
    assert sections.scored.tolist() == [False, True, True, False]
    assert sections.indicated.tolist() == [False, False, True, False]

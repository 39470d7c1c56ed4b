from __future__ import annotations

import pytest

from seamtell.pipeline.report.gallery import abstention_groups, error_groups


def test_every_wrong_and_missed_section_is_drawn_once_and_no_other(sections, analyses):
    drawn = [p.section_id for group in error_groups(sections, analyses) for p in group.panels]
    assert sorted(drawn) == ["S-001", "S-002", "S-004", "S-007"]


def test_groups_are_named_by_truth_and_answer(sections, analyses):
    assert {group.heading for group in error_groups(sections, analyses)} == {
        "edge notch, answered pinhole",
        "pinhole, missed: no indication at the section",
        "lack of fusion, answered edge notch",
        "sound, answered pinhole",
    }


def test_the_largest_group_comes_first(sections, analyses):
    twice = sections.copy()
    twice.loc[twice["section_id"] == "S-006", ["answer", "outcome"]] = ["pinhole", "wrong"]
    groups = error_groups(twice, analyses)
    assert groups[0].heading == "edge notch, answered pinhole"
    assert len(groups[0].panels) == 2


def test_panels_of_a_group_share_one_scale(sections, analyses):
    scales = {group.heading: group.ceiling_pct for group in error_groups(sections, analyses)}
    assert scales["edge notch, answered pinhole"] == 50.0  # a peak of about 37 %
    assert scales["pinhole, missed: no indication at the section"] == 10.0


def test_the_section_stands_in_the_middle_of_its_panel(sections, analyses):
    panel = next(p for g in error_groups(sections, analyses) for p in g.panels if p.section_id == "S-001")
    assert "section S-001 at 120.0 mm: truth edge notch, answer pinhole" in panel.svg
    assert "0 ● pinhole" in panel.svg


def test_abstentions_are_grouped_by_reason_and_name_the_set(sections, analyses):
    groups = abstention_groups(sections, analyses)
    assert [group.heading for group in groups] == ["ambiguous"]
    assert groups[0].panels[0].caption.endswith("set: pinhole or edge notch")


def test_an_empty_set_is_said_in_words(sections, analyses):
    empty = sections.assign(label_set="")
    assert abstention_groups(empty, analyses)[0].panels[0].caption.endswith("; no label of the model fits")


def test_no_errors_give_no_groups(sections, analyses):
    assert error_groups(sections[sections["outcome"] == "right"], analyses) == ()


def test_a_table_read_back_from_csv_draws_the_same(sections, analyses, tmp_path):
    import pandas as pd

    sections.to_csv(tmp_path / "sections.csv", index=False)
    again = pd.read_csv(tmp_path / "sections.csv")
    assert error_groups(again, analyses) == error_groups(sections, analyses)


def test_an_unknown_seam_is_not_passed_over(sections, analyses):
    lost = sections.assign(seam_id="nowhere")
    with pytest.raises(KeyError, match="nowhere"):
        error_groups(lost, analyses)

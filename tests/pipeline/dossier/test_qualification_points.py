"""Points of a qualification: filled from the record, or said not to be evidenced."""

from __future__ import annotations

from dataclasses import replace

import pytest

from seamtell.pipeline.dossier.content import Paragraph, Table
from seamtell.pipeline.dossier.qualification_point import Point, Shown
from seamtell.pipeline.dossier.qualification_points import AREAS, qualification_points, qualification_section
from seamtell.pipeline.dossier.source import DossierSource

from .conftest import make_entry


def point(source: DossierSource, name: str) -> Point:
    return next(one for one in qualification_points(source) if one.id == name)


def without_shared(source: DossierSource, group: str) -> DossierSource:
    """No section taught and tested; every section from the coil `group`."""
    card = source.card.model_copy(update={"training_section_ids": ("T-1", "T-2")})
    return replace(source, card=card, judged=source.judged.assign(group=group))


def with_record(source: DossierSource, **changes: object) -> DossierSource:
    return replace(source, acceptance=source.acceptance.model_copy(update=changes))


def test_every_area_that_a_qualification_asks_about_has_points(source):
    assert [name for name, _, _ in AREAS] == [
        "use",
        "data",
        "labels",
        "model",
        "performance",
        "failures",
        "human",
    ]
    ids = [one.id for one in qualification_points(source)]
    assert len(ids) == len(set(ids)) > 20


def test_the_page_says_that_the_points_are_from_memory(source):
    said = [one.text for one in qualification_section(source).blocks if isinstance(one, Paragraph)]
    assert any("from memory" in text and "ENIQ Recommended Practice 13" in text for text in said)


def test_what_is_not_evidenced_is_hatched_and_counted(source):
    section = qualification_section(source)
    rows = [row for one in section.blocks if isinstance(one, Table) for row in one.rows]
    lacking = [row for row in rows if row[2].value == Shown.NO.value]
    assert lacking
    assert all(row[2].unknown is (row in lacking) for row in rows)
    first = section.blocks[0]
    assert isinstance(first, Paragraph)
    assert f"{len(lacking)} are not evidenced" in first.text


def test_every_answer_points_to_a_part_that_the_dossier_has(source, content):
    titles = {section.title for section in content.sections}
    for one in qualification_points(source):
        assert (one.where in titles) is (one.shown is not Shown.NO), one.id


def test_the_dossier_holds_the_page_once(content):
    assert [section.id for section in content.sections].count("qualification") == 1


def test_a_held_out_section_that_also_taught_the_model_takes_independence_away(source):
    assert {"S-001"} <= set(source.card.training_section_ids)
    found = point(source, "independence")
    assert found.shown is Shown.NO
    assert "held-out sections also taught the model" in found.answer


def test_a_coil_on_both_sides_takes_independence_away(source):
    found = point(without_shared(source, "coil:C1"), "independence")
    assert found.shown is Shown.NO
    assert "both training and test" in found.answer


def test_sections_and_coils_apart_are_independent(source):
    assert point(without_shared(source, "coil:C9"), "independence").shown is Shown.YES


def test_unknown_coils_do_not_pass_for_independent_ones(source):
    apart = without_shared(source, "coil:C9")
    assert point(replace(apart, judged=apart.judged.drop(columns="group")), "independence").shown is Shown.NO


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("agreement", {"agreement": None}),
        ("label_errors", {"label_errors": ()}),
        ("position", {"tolerance": ()}),
        ("detection", {"detection": ()}),
        ("comparison", {"comparisons": ()}),
        ("coverage", {"strata": ()}),
    ],
)
def test_a_figure_that_the_record_lacks_is_not_evidenced(source, name, changes):
    assert point(source, name).shown is not Shown.NO
    assert point(with_record(source, **changes), name).shown is Shown.NO


def test_without_random_cuts_the_choice_of_sections_is_evidenced_in_part(source):
    rates = tuple(one.model_copy(update={"random_cuts": 0}) for one in source.acceptance.miss_rates)
    assert point(with_record(source, miss_rates=rates), "selection").shown is Shown.PARTLY


def test_a_model_is_locked_only_by_an_approval_on_this_evidence(source):
    assert point(source, "locked").shown is Shown.YES
    for log in ((), (make_entry(evaluation_digest="99" * 32),), (make_entry(model_digest="98" * 32),)):
        assert point(replace(source, log=log), "locked").shown is Shown.PARTLY


def test_nobody_answers_for_a_model_that_nobody_signed(source):
    assert point(source, "responsible").shown is Shown.YES
    assert point(replace(source, log=()), "responsible").shown is Shown.NO


def test_sections_without_an_examiner_are_counted(source):
    table = source.section_table.assign(examiner=["examiner-1", ""])
    found = point(replace(source, section_table=table), "truth")
    assert found.shown is Shown.PARTLY
    assert "Only 1 of 2" in found.answer

"""The content of a dossier: what goes in, in which order, and what it says."""

from __future__ import annotations

from dataclasses import replace

from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.dossier.content import (
    BulletList,
    Cell,
    DossierContent,
    KeyValues,
    Paragraph,
    Section,
    SignLines,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.detection_part import detection_section
from seamtell.pipeline.dossier.identity_part import signing_section
from seamtell.pipeline.dossier.limits_part import cautions
from seamtell.pipeline.dossier.missed_part import missed_section
from seamtell.pipeline.dossier.verdict_part import answer_sentence
from seamtell.pipeline.sign_off.log_entry import Action

from .conftest import DEVIATION, make_entry


def section(content: DossierContent, name: str) -> Section:
    return next(one for one in content.sections if one.id == name)


def said(part: Section) -> str:
    lines: list[str] = []
    for block in part.blocks:
        if isinstance(block, Paragraph):
            lines.append(block.text)
        elif isinstance(block, BulletList):
            lines.extend(block.items)
        elif isinstance(block, KeyValues):
            lines.extend(pair.value for pair in block.pairs)
    return "\n".join(lines)


def log_rows(part: Section) -> tuple[tuple[Cell, ...], ...]:
    return next(block for block in part.blocks if isinstance(block, Table)).rows


def table(content: DossierContent, name: str) -> Table:
    return next(one for one in content.tables() if one.name == name)


def test_the_parts_stand_in_the_order_in_which_a_quality_engineer_asks(content):
    assert [one.id for one in content.sections][:5] == [
        "identification",
        "criteria",
        "data",
        "matrix",
        "classes",
    ]
    ids = [one.id for one in content.sections]
    order = ["detection", "missed", "tolerance", "truth", "comparison", "strata", "costs", "errors", "limits"]
    assert [name for name in ids if name in order] == order
    assert ids.index("cautions") < ids.index("sign-off") < ids.index("digests")


def test_every_table_and_figure_has_a_name_of_its_own(content):
    for names in ([one.name for one in content.tables()], [one.name for one in content.figures()]):
        assert len(names) == len(set(names)) > 5


def test_every_row_of_a_table_is_as_long_as_its_header(content):
    for one in content.tables():
        assert {len(row) for row in one.rows} <= {len(one.columns)}
        assert not one.foot or len(one.foot) == len(one.columns)


def test_every_figure_names_a_table_that_holds_its_data(content):
    names = {one.name for one in content.tables()}
    assert {one.table for one in content.figures()} <= names


def test_the_answer_names_the_failed_criterion_its_figure_and_its_bound(source):
    text = answer_sentence(source)
    assert "m-0007 is approved, but 5 of 6 checks of the criteria are met" in text
    assert "fusion_named (lack of fusion)" in text
    assert "needs ≥ 0.9" in text


def test_the_answer_advises_against_a_candidate_that_fails(source):
    assert answer_sentence(replace(source, log=())).startswith("Do not approve m-0007: 5 of 6")


def test_the_answer_says_when_the_approval_rests_on_another_evaluation(source):
    older = replace(source, log=(make_entry(evaluation_digest="99" * 32),))
    assert "approved, though not on this evidence" in answer_sentence(older)
    assert any("on another evaluation than this record shows" in text for text in cautions(older))


def test_a_deviation_stands_in_the_answer_the_cautions_and_the_sign_off(source):
    deviating = replace(source, log=(make_entry(deviation=DEVIATION),))
    assert "by deviation until 2026-06-30" in answer_sentence(deviating)
    assert any("approved by deviation until 2026-06-30" in text for text in cautions(deviating))
    assert "agreement" in said(signing_section(deviating))


def test_a_withdrawn_model_reads_withdrawn(source):
    withdrawn = make_entry(action=Action.WITHDRAW, seq=2, by="S. Example (invented)")
    later = replace(source, log=(make_entry(), withdrawn))
    assert answer_sentence(later).startswith("Do not approve m-0007")
    assert "withdrawn by S. Example (invented)" in said(signing_section(later))
    assert len(log_rows(signing_section(later))) == 2


def test_the_usual_caution_and_the_warnings_of_the_record_come_first(content):
    assert content.cautions[0] == CAUTION.removeprefix("caution: ")
    assert "macro-F1 is implausibly good." in content.cautions


def test_the_sign_off_ends_with_lines_to_sign_on_paper(content):
    assert isinstance(section(content, "sign-off").blocks[-1], SignLines)


def test_a_refused_curve_is_told_in_words_and_no_figure_is_drawn(content):
    unknown = [
        block.text
        for block in section(content, "detection").blocks
        if isinstance(block, Paragraph) and block.tone is Tone.UNKNOWN
    ]
    assert unknown == [
        "No curve by an indication on the scatter channel: none of 1 flaws was missed "
        "(1 sized flaws, 1 hit, 0 missed)."
    ]
    assert [one.name for one in content.figures() if one.name.startswith("pod")] == [
        "pod_pinhole_specular_width_mm",
        "pod_mismatch_limit_rule_width_mm",
    ]


def test_of_two_links_the_one_that_promises_less_is_told(content):
    drawn = next(one for one in content.figures() if one.name == "pod_pinhole_specular_width_mm")
    assert "probit, a90 1.17 mm, a90/95 1.50 mm" in drawn.caption


def test_a_size_that_the_data_do_not_give_is_not_given(content):
    drawn = next(one for one in content.figures() if one.name == "pod_mismatch_limit_rule_width_mm")
    assert "a90/95 not given" in drawn.caption
    row = next(row for row in table(content, "pod_figures").rows if row[0].value == "mismatch")
    cell = row[[column.key for column in table(content, "pod_figures").columns].index("a90_95_mm")]
    assert (cell.value, cell.unknown) == (None, True)


def test_an_unknown_miss_rate_is_unknown_and_never_zero(content):
    rates = {row[0].value: row for row in table(content, "miss_rates").rows}
    corrected = rates["pinhole"][2]
    assert corrected.unknown
    assert corrected.text == "unknown: nothing unflagged was cut"
    assert "29 random cuts" in said(section(content, "missed"))


def test_a_stratum_with_too_few_sections_reads_too_few(content):
    row = next(row for row in table(content, "strata").rows if row[0].value == "MB-2520")
    assert [cell.text for cell in row[3:]] == ["unknown: too few sections (4)"] * 3
    assert all(cell.unknown for cell in row[3:])


def test_the_log_table_holds_the_entries_of_this_model_only(source):
    other = make_entry(model_id="m-0003", seq=2)
    both = signing_section(replace(source, log=(make_entry(), other)))
    assert [row[0].value for row in log_rows(both)] == [1]


def test_the_gallery_shows_held_out_errors_and_the_table_all_errors(content):
    drawn = [one.caption for one in content.figures() if one.name.startswith("error_")]
    assert [text.split(" ")[0] for text in drawn] == ["S-001", "S-002"]
    assert [row[0].value for row in table(content, "errors").rows] == ["S-001", "S-002", "S-004"]


def test_a_record_without_figures_says_of_each_what_is_missing(bare_content):
    for name in ("detection", "missed", "tolerance", "truth", "strata", "costs"):
        tones = {block.tone for block in section(bare_content, name).blocks if isinstance(block, Paragraph)}
        assert Tone.UNKNOWN in tones, name
    assert "Nobody has approved m-0007" in said(section(bare_content, "sign-off"))
    assert "no other model was approved" in said(section(bare_content, "criteria"))


def test_equal_sources_give_equal_drawings(source, content):
    assert missed_section(source) == section(content, "missed")
    assert detection_section(source) == section(content, "detection")


def test_no_figure_of_the_content_is_other_than_in_the_record(source, content):
    """Everything shown is taken over: each estimate in a table is one of the evaluation or the record."""
    known = source.evaluation.model_dump_json() + source.acceptance.model_dump_json()
    criteria = [one.figure for one in source.outcomes]
    for one in content.tables():
        for row in one.rows:
            for cell in row:
                if cell.estimate is not None:
                    assert cell.estimate in criteria or cell.estimate.model_dump_json() in known, one.name


def test_the_flaws_that_demonstrate_ninety_in_a_hundred_are_those_of_the_handbooks(content):
    (table,) = (
        block
        for block in section(content, "detection").blocks
        if isinstance(block, Table) and block.name == "pod_demonstration"
    )
    # 29 of 29, 45 of 46, 59 of 61: published for 90/95.
    assert [(row[2].value, row[1].value) for row in table.rows[:3]] == [(29, 29), (45, 46), (59, 61)]

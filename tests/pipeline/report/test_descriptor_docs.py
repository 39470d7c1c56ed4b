from __future__ import annotations

from seamtell.features.descriptors.registry import ALL
from seamtell.pipeline.report.descriptor_docs import descriptors_markdown


def test_every_descriptor_has_one_row_in_order():
    rows = descriptors_markdown().splitlines()
    assert [row.split("`")[1] for row in rows[2:]] == [one.name for one in ALL]


def test_every_row_has_as_many_cells_as_the_head():
    rows = descriptors_markdown().splitlines()
    counts = {row.replace("\\|", "").count("|") for row in rows}
    assert counts == {8}


def test_unit_and_meaning_are_there():
    text = descriptors_markdown()
    assert all(one.meaning.replace("|", "\\|") in text and f"| {one.unit} |" in text for one in ALL)

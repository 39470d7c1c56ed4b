"""Sections joined with their indications."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seamtell.features.descriptors import registry
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.labelled import (
    Labelled,
    descriptor_values,
    load_labelled,
    sections_digest,
    traces_digest,
)
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace


@pytest.fixture(scope="module")
def labelled(untrained_shop: Workspace) -> Labelled:
    return load_labelled(untrained_shop, Settings())


def test_every_section_is_there_once_and_the_matched_ones_have_descriptors(labelled, untrained_shop) -> None:
    assert sorted(labelled.matched["section_id"]) == sorted(read_sections(untrained_shop)["section_id"])
    matched = labelled.matched[labelled.matched["matched"]]
    assert labelled.table.section_ids == tuple(matched["section_id"])
    assert labelled.table.values.shape == (len(matched), len(registry.model_names()))
    assert labelled.table.names == registry.model_names()
    assert labelled.table.schema_digest == registry.schema_digest()


def test_each_row_has_the_descriptors_of_its_own_indication(labelled) -> None:
    first = labelled.matched[labelled.matched["matched"]].iloc[3]
    indications = labelled.indications
    own = indications[
        (indications["seam_id"] == first["seam_id"]) & (indications["indication"] == first["indication"])
    ]
    row = labelled.table.section_ids.index(first["section_id"])
    expected = own[list(labelled.table.names)].to_numpy()[0]
    np.testing.assert_array_equal(labelled.table.values[row], expected)
    assert own["start_mm"].item() == first["start_mm"]


def test_lengths_of_flaws_come_along_where_the_section_states_them(labelled) -> None:
    sizes = labelled.table.sizes_mm
    sound = labelled.table.truths == "sound"
    assert np.isnan(sizes[sound]).all()
    assert (sizes[~sound] == 5.0).all()


def test_a_workspace_without_sections_says_what_to_do(tmp_path) -> None:
    with pytest.raises(BadInput, match="no sections"):
        load_labelled(init_workspace(tmp_path / "ws"), Settings())


def test_a_recipe_without_limits_leaves_its_sections_out_by_name(untrained_copy: Workspace) -> None:
    text = untrained_copy.limits_path.read_text()
    untrained_copy.limits_path.write_text(text.replace("recipe.R1", "recipe.R2"))
    labelled = load_labelled(untrained_copy, Settings())
    assert set(labelled.matched["left_out"]) == {"no_limits_for_recipe"}
    assert len(labelled.table) == 0


def test_seams_in_conflict_are_not_in_the_table(untrained_shop: Workspace, monkeypatch) -> None:
    from seamtell.pipeline.store.seam_store import SeamStore

    everything = load_labelled(untrained_shop, Settings())
    seam = everything.matched.loc[0, "seam_id"]
    monkeypatch.setattr(SeamStore, "conflicts", lambda self: frozenset({seam}))
    without = load_labelled(untrained_shop, Settings())
    row = without.matched[without.matched["seam_id"] == seam]
    assert row["left_out"].tolist() == ["conflicting_traces"]
    assert set(everything.table.section_ids) - set(without.table.section_ids) == set(row["section_id"])


def test_the_sections_digest_does_not_depend_on_order_but_on_every_cell() -> None:
    table = pd.DataFrame({"section_id": ["a", "b"], "flaw": ["sound", "pinhole"], "depth_mm": [np.nan, 0.3]})
    digest = sections_digest(table)
    assert sections_digest(table.iloc[::-1][["depth_mm", "flaw", "section_id"]]) == digest
    for column, value in (("flaw", "sound"), ("depth_mm", 0.3000001), ("section_id", "c")):
        changed = table.copy()
        changed.loc[1, column] = value
        assert sections_digest(changed) != digest


def test_the_traces_digest_does_not_depend_on_order_but_on_every_content() -> None:
    seams = pd.DataFrame({"seam_id": ["a", "b"], "content_sha256": ["1", "2"]})
    digest = traces_digest(seams)
    assert traces_digest(seams.iloc[::-1]) == digest
    assert traces_digest(seams.assign(content_sha256=["2", "1"])) != digest


def test_no_rows_have_no_values(labelled) -> None:
    none = descriptor_values(labelled.matched.iloc[:0], labelled.indications, labelled.table.names)
    assert none.shape == (0, len(labelled.table.names))

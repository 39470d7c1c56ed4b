from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.errors import SeamtellError
from seamtell.models.labelled_table import ordered_classes


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_descriptor_that_is_no_number_is_refused_by_section_and_name(shop_table, bad: float) -> None:
    values = shop_table.values.copy()
    values[3, 2] = bad
    with pytest.raises(SeamtellError, match=f"section S0003: descriptor 'flatness' is {bad}"):
        replace(shop_table, values=values)


def test_shapes_that_disagree_are_refused(shop_table) -> None:
    with pytest.raises(SeamtellError, match="got descriptors of shape"):
        replace(shop_table, values=shop_table.values[:, :3])
    with pytest.raises(SeamtellError, match="got 'groups' of shape"):
        replace(shop_table, groups=shop_table.groups[:5])


def test_a_repeated_section_is_refused(shop_table) -> None:
    ids = ("S0001", *shop_table.section_ids[1:])
    with pytest.raises(SeamtellError, match="twice"):
        replace(shop_table, section_ids=ids)


def test_classes_come_in_the_order_of_the_flaw_list_and_others_after_them() -> None:
    assert ordered_classes(np.array(["zeta", "sound", "alpha", "pinhole"])) == (
        "pinhole",
        "sound",
        "alpha",
        "zeta",
    )


@pytest.mark.parametrize(
    "column", ["values", "truths", "groups", "times", "recipes", "sizes_mm", "schema_digest"]
)
def test_the_digest_changes_with_every_column(shop_table, column: str) -> None:
    old = getattr(shop_table, column)
    if column == "schema_digest":
        changed = replace(shop_table, schema_digest="other")
    else:
        new = old.copy()
        new[0] = {"values": 1.0, "truths": "zeta", "groups": "zeta", "recipes": "R9", "sizes_mm": 1.0}.get(
            column, np.datetime64("2020-01-01")
        )
        changed = replace(shop_table, **{column: new})
    assert changed.digest() != shop_table.digest()


def test_taking_all_rows_changes_nothing(shop_table) -> None:
    assert shop_table.rows(np.ones(len(shop_table), dtype=bool)).digest() == shop_table.digest()

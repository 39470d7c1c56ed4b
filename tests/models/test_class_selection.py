from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.errors import SeamtellError
from seamtell.models.class_selection import select_classes


def test_a_class_with_too_few_sections_is_left_out_by_name(shop) -> None:
    kept, left_out = select_classes(shop({"pinhole": 10, "mismatch": 7, "sound": 9}), 8)
    assert left_out == ("mismatch",)
    assert set(kept.truths) == {"pinhole", "sound"}
    assert len(kept) == 19


def test_a_class_from_one_coil_is_left_out(shop) -> None:
    table = shop({"pinhole": 10, "mismatch": 9, "sound": 9})
    groups = np.where(table.truths == "mismatch", "one-coil", table.groups)
    kept, left_out = select_classes(replace(table, groups=groups), 8)
    assert left_out == ("mismatch",)
    assert "mismatch" not in kept.truths


def test_fewer_than_two_classes_are_refused_with_what_is_missing(shop) -> None:
    with pytest.raises(SeamtellError) as refusal:
        select_classes(shop({"pinhole": 10, "edge_notch": 5, "sound": 7}), 8)
    assert "got 1 classes" in str(refusal.value)
    assert "edge_notch has 5 of 8 sections; sound has 7 of 8 sections; pinhole has enough" in str(
        refusal.value
    )


def test_no_sections_at_all_are_refused(shop) -> None:
    with pytest.raises(SeamtellError, match="there are no sections"):
        select_classes(shop({"pinhole": 2}).rows(np.zeros(2, dtype=bool)), 8)

from __future__ import annotations

import pandas as pd

from seamtell.pipeline.retrain.changes import data_change


def table(flaws: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame({"section_id": list(flaws), "flaw": list(flaws.values()), "purpose": "planned"})


def test_added_removed_and_relabelled_sections_are_told_apart() -> None:
    before = table({"a": "sound", "b": "pinhole", "c": "mismatch"})
    now = table({"a": "sound", "b": "edge_notch", "d": "pinhole", "e": "pinhole"})
    change = data_change(before, "", now)
    assert (change.before, change.now) == (3, 4)
    assert (change.added, change.removed) == (("d", "e"), ("c",))
    assert [(one.section_id, one.before, one.now) for one in change.relabelled] == [
        ("b", "pinhole", "edge_notch")
    ]
    assert (change.added_by_class, change.added_by_purpose) == ({"pinhole": 2}, {"planned": 2})


def test_unknown_sections_at_approval_are_unknown_not_none() -> None:
    change = data_change(None, "the approval kept no copy", table({"a": "sound"}))
    assert change.before is None
    assert change.added == ()
    assert change.told == "the approval kept no copy"

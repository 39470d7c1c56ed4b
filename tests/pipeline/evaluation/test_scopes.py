"""Which sections are held out."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.scopes import read_split, split_sections
from seamtell.pipeline.training_files import SPLIT_FILE, Split

SPLIT = Split(training_section_ids=("a", "b"), held_out_section_ids=("c",), cut_time="2026-03-01T00:00:00Z")
CARD = SimpleNamespace(physics=None, training_section_ids=("a",), training_groups=("coil:1",))


def _matched(**groups: str) -> pd.DataFrame:
    return pd.DataFrame({"section_id": list(groups), "group": list(groups.values())})


def test_sections_of_the_training_part_are_cross_validated_also_without_an_indication() -> None:
    scopes = split_sections(_matched(a="coil:1", b="coil:2", c="coil:3"), SPLIT, CARD)
    assert scopes.training.tolist() == [True, True, False]
    assert scopes.held_out.tolist() == [False, False, True]


def test_a_new_section_of_a_coil_that_training_saw_is_used_for_neither() -> None:
    scopes = split_sections(_matched(a="coil:1", b="coil:2", c="coil:3", d="coil:2", e="coil:9"), SPLIT, CARD)
    assert scopes.unused.tolist() == [False, False, False, True, False]
    assert scopes.held_out.tolist() == [False, False, True, False, True]


def test_a_group_named_in_the_card_only_is_no_test_either() -> None:
    scopes = split_sections(_matched(b="coil:2", c="coil:3", x="coil:1"), SPLIT, CARD)
    assert scopes.unused.tolist() == [False, False, True]


def test_a_planted_leak_is_not_evaluated() -> None:
    # The split file claims "c" is held out, but it is of the coil of "a".
    with pytest.raises(Refused, match="no section is held out"):
        split_sections(_matched(a="coil:1", b="coil:2", c="coil:1"), SPLIT, CARD)


def test_a_missing_split_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be read") as caught:
        read_split(tmp_path)
    assert "train again" in caught.value.do


def test_a_split_comes_back_as_it_was_written(tmp_path: Path) -> None:
    (tmp_path / SPLIT_FILE).write_text(SPLIT.model_dump_json())
    assert read_split(tmp_path) == SPLIT

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import pytest

from seamtell.features.descriptors import registry
from seamtell.features.descriptors.registry import (
    ALL,
    Family,
    by_name,
    descriptor_rows,
    model_names,
    names,
    schema_digest,
)


def test_there_are_at_least_35_descriptors_and_no_name_twice() -> None:
    assert len(names()) >= 35
    assert len(set(names())) == len(names())


def test_every_family_is_there_and_they_come_in_order() -> None:
    order = [list(Family).index(one.family) for one in ALL]
    assert order == sorted(order)
    assert set(order) == set(range(len(Family)))


def test_every_descriptor_states_unit_meaning_and_formula() -> None:
    for row in descriptor_rows():
        assert row.unit
        assert row.formula
        assert row.meaning == row.meaning.strip()
        assert "\n" not in row.meaning


def test_the_model_reads_nothing_that_follows_the_gain_or_names_the_recipe() -> None:
    forbidden = {"thickness_ratio", "end_distance_mm", "specular_noise_pct", "specular_baseline_level_pct"}
    assert not forbidden & set(model_names())
    assert all(by_name(name).gain == "invariant" for name in model_names())
    assert [name for name in names() if name in set(model_names())] == list(model_names())


def test_nothing_the_model_reads_is_in_millimetres_or_percent() -> None:
    assert {by_name(name).unit for name in model_names()} == {"1", "dB"}


def test_digest_is_the_sha256_of_names_families_units_and_formulas() -> None:
    rows = [[row.name, row.family, row.unit, row.formula] for row in descriptor_rows()]
    text = json.dumps([registry.SCHEMA_VERSION, rows], separators=(",", ":"))
    assert schema_digest() == hashlib.sha256(text.encode()).hexdigest()


def test_digest_changes_with_a_formula(monkeypatch: pytest.MonkeyPatch) -> None:
    before = schema_digest()
    monkeypatch.setattr(registry, "ALL", (replace(ALL[0], formula="other"), *ALL[1:]))
    assert schema_digest() != before


def test_unknown_name_is_refused() -> None:
    with pytest.raises(KeyError, match="no descriptor 'beauty'"):
        by_name("beauty")

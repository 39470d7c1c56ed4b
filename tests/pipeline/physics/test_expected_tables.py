from __future__ import annotations

import pytest

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.features.contracts import Flaw
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.expected_tables import read_expected


def test_a_stated_range_replaces_its_default_and_nothing_else():
    ranges = read_expected({"pinhole": {"diameter_mm": [0.5, 1], "blind_share": 0}}, where="f")
    assert ranges.pinhole.diameter_mm == (0.5, 1.0)
    assert ranges.pinhole.blind_share == 0.0
    assert ranges.pinhole.top_share == FlawRanges().pinhole.top_share
    assert ranges.mismatch == FlawRanges().mismatch


def test_a_class_set_to_false_is_not_simulated():
    assert Flaw.MISMATCH not in read_expected({"mismatch": False}, where="f").labels


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        ({"crack": {}}, r"f: \[expected\.crack\]: there is no such class.*pinhole"),
        (
            {"pinhole": {"size_mm": [1, 2]}},
            r"\[expected\.pinhole\] key 'size_mm': there is no such key.*diameter_mm",
        ),
        (
            {"pinhole": {"diameter_mm": 1.0}},
            r"key 'diameter_mm' is 1\.0, expected two numbers, \[least, most\]",
        ),
        ({"pinhole": {"diameter_mm": [1, 2, 3]}}, "expected two numbers"),
        ({"pinhole": {"diameter_mm": [True, 2]}}, "expected two numbers"),
        ({"pinhole": {"blind_share": [0, 1]}}, r"key 'blind_share' is \[0, 1\], expected one number"),
        ({"pinhole": {"blind_share": "half"}}, "expected one number"),
        ({"pinhole": {"diameter_mm": [2, 1]}}, r"\[expected\.pinhole\]: diameter_mm is 2 to 1"),
        ({"pinhole": {"diameter_mm": [0, 1]}}, "more than zero"),
        ({"pinhole": {"blind_share": 1.5}}, "share within 0 to 1"),
        ({"sound": {"droplet_share": 0.8, "bounce_share": 0.5}}, "exceed 1 together"),
        ({"pinhole": True}, r"expected\.pinhole is True, expected a table or false"),
        ({"pinhole": 3}, "expected a table or false"),
    ],
)
def test_a_wrong_table_is_refused_by_class_and_key(tables, message):
    with pytest.raises(BadInput, match=message):
        read_expected(tables, where="f")

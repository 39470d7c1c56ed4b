from __future__ import annotations

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.profile_check import check_profile
from seamtell.pipeline.limits_file import read_limits


def check(shop, path):
    return check_profile(path, Profile(), read_limits(shop.ws.limits_path))


def test_a_good_file_shows_what_would_be_read(shop):
    (result,) = check(shop, shop.write(shop.text(coil="C1")))
    assert result.problem is None
    assert ("coil", "C1") in result.header
    assert result.columns == ("position_mm", "specular", "scatter")
    assert result.samples[1][0] == 0.25
    assert result.trace.seam_id == "S1"


def test_a_bad_value_still_shows_what_was_read_and_why_it_fails(shop):
    (result,) = check(shop, shop.write(shop.text(recipe="R9")))
    assert result.problem.code == "unknown_recipe"
    assert result.metadata["recipe"] == "R9"
    assert len(result.samples) == 5


def test_an_unreadable_file_shows_the_problem(shop):
    (result,) = check(shop, shop.write("a;b\n1;2\n"))
    assert result.problem.code == "missing_column"
    assert result.columns == ("a;b",)


def test_checking_changes_nothing(shop):
    before = sorted(shop.ws.root.rglob("*"))
    check(shop, shop.write("rubbish"))
    assert sorted(shop.ws.root.rglob("*")) == before


def test_a_missing_file_is_one_line(shop):
    with pytest.raises(BadInput, match="no such file"):
        check(shop, shop.inbox / "none.csv")

from __future__ import annotations

import hashlib
import re

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.init import default_file
from seamtell.pipeline.limits_file import read_limits

GOOD = """
[recipe."R 1"]
limit_pct = { specular = 20.0, scatter = 10.0 }
dead_zone_start_mm = 5.0
dead_zone_end_mm = 4.0
beam_width_mm = 9.4
"""


def limits(tmp_path, text):
    path = tmp_path / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return read_limits(path)


def test_a_recipe_is_read_with_every_value(tmp_path):
    found = limits(tmp_path, GOOD)
    recipe = found.for_recipe("R 1")
    assert dict(recipe.limit_pct) == {"specular": 20.0, "scatter": 10.0}
    assert (recipe.dead_zone_start_mm, recipe.dead_zone_end_mm, recipe.beam_width_mm) == (5.0, 4.0, 9.4)
    assert found.digest == hashlib.sha256(GOOD.encode()).hexdigest()
    assert found.recipes == ("R 1",)


def test_a_missing_recipe_says_what_to_add(tmp_path):
    found = limits(tmp_path, GOOD)
    assert found.get("R9") is None
    with pytest.raises(BadInput, match="no limits for recipe 'R9'") as caught:
        found.for_recipe("R9")
    assert '[recipe."R9"]' in caught.value.do


def test_the_commented_example_reads_when_its_marks_are_taken_away(tmp_path):
    text = default_file("limits.toml").decode()
    opened = re.sub(r"^# (?=(# |\[recipe|limit_pct|dead_zone|beam_width))", "", text, flags=re.MULTILINE)
    assert limits(tmp_path, opened).recipes == ("R-1.5-1.3",)


BAD = {
    "a missing channel": (GOOD.replace(", scatter = 10.0", ""), "no limit for channel 'scatter'"),
    "a limit of zero": (GOOD.replace("20.0", "0.0"), "is not within 0 to 100"),
    "a limit above full screen": (GOOD.replace("20.0", "120.0"), "limit 120 is not within"),
    "a limit that is no number": (GOOD.replace("20.0", "nan"), "recipe.R 1.limit_pct.specular"),
    "a negative dead zone": (GOOD.replace("5.0", "-5.0"), "key 'recipe.R 1.dead_zone_start_mm'"),
    "a beam of no width": (GOOD.replace("9.4", "0"), "key 'recipe.R 1.beam_width_mm'"),
    "a missing key": (GOOD.replace("beam_width_mm = 9.4", ""), "beam_width_mm': is missing"),
    "an unknown key": (GOOD + "gain_db = 3\n", "gain_db"),
    "no TOML": ("[recipe", "not readable as TOML"),
    "a newer version": ("schema_version = 7\n" + GOOD, "schema version 7"),
}


@pytest.mark.parametrize("what", BAD)
def test_each_fault_is_one_line_that_names_the_place(tmp_path, what):
    text, message = BAD[what]
    with pytest.raises(BadInput) as caught:
        limits(tmp_path, text)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.do


def test_a_missing_limit_file_is_an_error_with_advice(tmp_path):
    with pytest.raises(BadInput, match="no limit file"):
        read_limits(tmp_path / "limits.toml")

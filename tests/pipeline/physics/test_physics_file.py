from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.material import STEEL
from seamtell.features.contracts import Flaw, SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.init import default_file, init_workspace
from seamtell.pipeline.physics.physics_file import Physics, read_physics

HEAD = "frequency_mhz = 0.6\naperture_sd_mm = 5.0\nstand_off_mm = 15.0\nscatter_tilt_sin = 0.4\n"
WHOLE = f"""
schema_version = 1
[head.default]
{HEAD}
[head."L2"]
{HEAD.replace("= 5.0", "= 5.2")}burst_cycles = 5.0
[recipe."R-1.5-1.3"]
sheet_a_mm = 1.5
sheet_b_mm = 1.3
ramp_mm = 0.6
"""


def physics_of(folder: Path, text: str = WHOLE) -> Physics:
    (folder / "physics.toml").write_text(text)
    return read_physics(folder / "physics.toml")


def trace(recipe: str = "R-1.5-1.3", a: float = 1.5, b: float = 1.3) -> SeamTrace:
    samples = {name: np.zeros(9, np.float32) for name in ("specular", "scatter")}
    at = datetime(2026, 1, 1, tzinfo=UTC)
    return SeamTrace("S-1", at, "L1", recipe, 0.0, 0.5, samples, thickness_a_mm=a, thickness_b_mm=b)


def test_heads_sheets_and_digest_are_those_of_the_file(tmp_path):
    physics = physics_of(tmp_path)
    assert physics.head_for("L2") == Head(0.6, 5.2, 15.0, 0.4, burst_cycles=5.0)
    assert physics.joint_for("R-1.5-1.3") == Joint(1.5, 1.3, 0.6)
    assert physics.digest == hashlib.sha256(WHOLE.encode()).hexdigest()
    assert physics.flaw_ranges == FlawRanges()


def test_the_default_head_serves_lines_without_a_table(tmp_path):
    assert physics_of(tmp_path).head_for("L7") == Head(0.6, 5.0, 15.0, 0.4)


def test_a_line_without_any_head_is_named(tmp_path):
    physics = physics_of(tmp_path, WHOLE.replace("head.default", 'head."L1"'))
    with pytest.raises(BadInput, match=r"physics\.toml: no head for line 'L7'.*\[head\.\"L7\"\]"):
        physics.head_for("L7")


def test_a_recipe_without_sheets_is_named(tmp_path):
    with pytest.raises(BadInput, match="no sheets for recipe 'R9'"):
        physics_of(tmp_path).joint_for("R9")


def test_the_material_is_steel_unless_stated(tmp_path):
    assert physics_of(tmp_path).head_for("L1").material == STEEL
    stated = WHOLE + "[material]\nc_longitudinal_mm_per_us = 6.3\nc_shear_mm_per_us = 3.1\n"
    assert physics_of(tmp_path, stated).head_for("L1").material.c_shear_mm_per_us == 3.1


def test_a_material_that_cannot_be_is_refused(tmp_path):
    stated = WHOLE + "[material]\nc_longitudinal_mm_per_us = 4.0\nc_shear_mm_per_us = 3.1\n"
    with pytest.raises(BadInput, match=r"\[material\]: speeds 4 and 3\.1 mm/us"):
        physics_of(tmp_path, stated)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("schema_version = 1", "schema_version = 2", "schema version 2, this seamtell knows 1"),
        ("stand_off_mm = 15.0\n", "", r"key 'head\.default\.stand_off_mm': is missing"),
        ("stand_off_mm", "standoff_mm", r"key 'head\.default\.standoff_mm': there is no such key"),
        ("ramp_mm = 0.6", "ramp_mm = inf", r"key 'recipe\.R-1\.5-1\.3\.ramp_mm'"),
        ("ramp_mm = 0.6", 'ramp_mm = "wide"', r"key 'recipe\.R-1\.5-1\.3\.ramp_mm'"),
        ("= 0.4", "= 0.65", r'\[head\."default"\]: share of the scatter beam beyond the critical angle'),
        ("= 15.0", "= 3.0", r'\[head\."default"\]: stand-off over wavelength is 0\.557'),
        ("= 5.0", "= nan", r"key 'head\.default\.aperture_sd_mm'"),
        (
            "sheet_a_mm = 1.5",
            "sheet_a_mm = 2.8",
            r'\[recipe\."R-1\.5-1\.3"\] under \[head\."default"\]: .*1\.615',
        ),
        ("sheet_b_mm = 1.3", "sheet_b_mm = -1.3", r'\[recipe\."R-1\.5-1\.3"\]: joint of 1\.5 and -1\.3 mm'),
        ("[head.default]", "[head.default", "not readable as TOML"),
    ],
)
def test_a_wrong_file_is_refused_by_table_key_and_limit(tmp_path, old, new, message):
    with pytest.raises(BadInput, match=message) as caught:
        physics_of(tmp_path, WHOLE.replace(old, new, 1))
    assert caught.value.where == str(tmp_path / "physics.toml")
    assert caught.value.do


def test_a_workspace_without_the_file_is_told_how_to_get_one(tmp_path):
    with pytest.raises(BadInput, match=r"no physics\.toml.*seamtell physics template > physics\.toml"):
        read_physics(tmp_path / "physics.toml")


def test_a_trace_that_agrees_or_does_not_say_passes(tmp_path):
    physics = physics_of(tmp_path)
    physics.check_agrees(trace())
    physics.check_agrees(trace(a=1.54, b=1.26))
    physics.check_agrees(trace(a=float("nan"), b=float("nan")))


@pytest.mark.parametrize(("a", "b", "sheet"), [(1.56, 1.3, "A"), (1.5, 1.24, "B"), (1.3, 1.5, "A")])
def test_a_trace_with_other_sheets_than_its_recipe_is_refused(tmp_path, a, b, sheet):
    with pytest.raises(BadInput, match=f"seam S-1: sheet {sheet} is .* the recipe 'R-1.5-1.3' says"):
        physics_of(tmp_path).check_agrees(trace(a=a, b=b))


def test_what_init_writes_reads_as_a_file_that_states_nothing(tmp_path):
    physics = read_physics(init_workspace(tmp_path / "ws").physics_path)
    assert not physics.heads
    assert not physics.joints
    assert physics.flaw_ranges == FlawRanges()


def test_the_tables_of_the_template_read_once_their_marks_are_taken_off(tmp_path):
    text = default_file("physics.toml").decode()
    bare = re.sub(r"^# (# .*|\[|[a-z_]+ = )", r"\1", text, flags=re.M).replace(
        "[expected]\nmismatch = false", ""
    )
    physics = physics_of(tmp_path, bare)
    assert set(physics.heads) == {"default", "L1"}
    assert physics.joints == {"R-1.5-1.3": Joint(1.5, 1.3, 0.6)}
    # Every range of the code is shown there with its default.
    shown = tomllib.loads(bare)["expected"]
    for flaw in Flaw:
        table = getattr(FlawRanges(), flaw.value)
        assert set(shown[flaw.value]) == {one.name for one in fields(table)}
    assert physics.flaw_ranges == FlawRanges()

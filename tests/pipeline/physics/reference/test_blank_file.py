from __future__ import annotations

import pytest

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.features.contracts import Side
from seamtell.pipeline.errors import BadInput


def test_a_blank_has_the_sheets_of_its_recipe_and_its_flaws_by_position(physics_and_blank):
    _, blank = physics_and_blank
    assert blank.joint == Joint(1.5, 1.3, 0.6)
    assert [flaw.geometry for flaw in blank.flaws] == [
        Hole(40.0, 1.5),
        Slot.even(95.0, 6.0, 0.6, 0.3, Side.TOP),
        Hole(140.0, 0.8),
    ]
    assert [flaw.name for flaw in blank.flaws][1] == "notch 6 x 0.6 mm at 95 mm"


def test_a_blank_may_state_its_own_sheets_and_a_blind_hole(lab, tmp_path):
    text = lab.BLANK.replace('recipe = "R1"', "sheet_a_mm = 1.8\nsheet_b_mm = 1.5\nramp_mm = 0.5")
    text = text.replace("diameter_mm = 0.8", 'diameter_mm = 0.8\nside = "bottom"\ndepth_mm = 0.9')
    _, blank = lab.files(tmp_path, blank=text)
    assert blank.joint == Joint(1.8, 1.5, 0.5)
    assert blank.flaws[2].geometry == Hole(140.0, 0.8, Side.BOTTOM, 0.9)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('recipe = "R1"', 'recipe = "R9"', "no sheets for recipe 'R9'"),
        ('recipe = "R1"', "", "says nothing of its sheets"),
        ('recipe = "R1"', 'recipe = "R1"\nsheet_a_mm = 1.5', "states a recipe and sheets as well"),
        ('recipe = "R1"', "sheet_a_mm = 0\nsheet_b_mm = 1\nramp_mm = 1", "joint of 0.0 and 1.0 mm"),
        ("diameter_mm = 1.5\n", "", "hole at 40 mm: 'diameter_mm' is missing"),
        ("depth_mm = 0.6\n", "", "notch at 95 mm: 'depth_mm' is missing"),
        ('side = "top"\n', "", "notch at 95 mm: side is missing"),
        ("diameter_mm = 0.8", 'diameter_mm = 0.8\nside = "top"', "a blind hole needs 'depth_mm'"),
        ("diameter_mm = 0.8", "diameter_mm = 0.8\nlength_mm = 3", "hole at 140 mm takes no 'length_mm'"),
        ("diameter_mm = 0.8", "diameter_mm = -0.8", "diameter of a hole is -0.8 mm"),
        ('type = "hole"', 'type = "crack"', r"key 'flaw\.0\.type'"),
        ("position_mm = 95.0", "position_mm = 50.5", "are 6.8 mm apart, expected 20 mm or more"),
        ("position_mm = 140.0", "position_mm = 175.0", "hole 0.8 mm at 175 mm and the end are 4.6 mm apart"),
        ("position_mm = 40.0", "position_mm = 4.0", "the start and hole 1.5 mm at 4 mm"),
        ("length_mm = 180.0", "length_mm = -1.0", "key 'length_mm'"),
    ],
)
def test_a_wrong_blank_is_refused_by_flaw_and_key(lab, tmp_path, old, new, message):
    with pytest.raises(BadInput, match=message):
        lab.files(tmp_path, blank=lab.BLANK.replace(old, new, 1))


def test_one_flaw_is_not_enough(lab, tmp_path):
    text = lab.BLANK.split("[[flaw]]")
    with pytest.raises(BadInput, match="1 machined flaws, at least 2 are needed"):
        lab.files(tmp_path, blank="[[flaw]]".join(text[:2]))


def test_a_flaw_outside_the_range_of_the_theory_is_named(lab, tmp_path):
    _, blank = lab.files(tmp_path, blank=lab.BLANK.replace("diameter_mm = 1.5", "diameter_mm = 4.0"))
    with pytest.raises(
        BadInput, match=r"blank\.toml: hole 4 mm at 40 mm: diameter of a hole is 4 mm, .*2\.999"
    ):
        blank.check_range(Head())


def test_sheets_outside_the_range_of_the_theory_are_named(lab, tmp_path):
    thick = lab.BLANK.replace('recipe = "R1"', "sheet_a_mm = 3.0\nsheet_b_mm = 2.5\nramp_mm = 0.5")
    _, blank = lab.files(tmp_path, blank=thick)
    with pytest.raises(BadInput, match=r"frequency times thickness of sheet A is 1\.8"):
        blank.check_range(Head())

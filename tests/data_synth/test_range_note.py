from __future__ import annotations

import math

import pytest

from seamtell.data_synth.range_note import JUST_ABOVE_ZERO, Limit, Verdict, refuse_outside
from seamtell.features.errors import SeamtellError

GAP = Limit("gap", "mm", "the coil no longer couples", "come closer", least=0.5, most=2.0, calm_to=1.5)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.5, Verdict.INSIDE),
        (1.5, Verdict.INSIDE),
        (1.6, Verdict.STRAINED),
        (2.0, Verdict.STRAINED),
        (2.1, Verdict.OUTSIDE),
        (0.4, Verdict.OUTSIDE),
        (math.nan, Verdict.OUTSIDE),
        (math.inf, Verdict.OUTSIDE),
    ],
)
def test_a_value_is_judged_against_both_ends_and_what_is_not_finite_is_outside(value, verdict):
    assert GAP.note(value).verdict is verdict


def test_a_value_that_equals_its_limit_but_for_rounding_is_allowed():
    assert Limit("depth", "mm", "", "", most=1.4).note(1.4 * 0.1 * 10).verdict is Verdict.INSIDE


def test_the_refusal_names_quantity_value_range_reason_and_remedy():
    with pytest.raises(SeamtellError) as caught:
        refuse_outside([GAP.note(1.0), GAP.note(3.0)])
    assert caught.value.what == "gap is 3 mm, allowed is 0.5 to 2 mm: the coil no longer couples"
    assert caught.value.do == "come closer"


@pytest.mark.parametrize(
    ("ends", "text"),
    [
        ({"least": JUST_ABOVE_ZERO}, "above 0"),
        ({"least": JUST_ABOVE_ZERO, "most": 3.0}, "above 0 to 3 mm"),
        ({"least": 1.0}, "at least 1 mm"),
        ({"most": 1.0}, "at most 1 mm"),
        ({}, "any"),
    ],
)
def test_the_range_reads_as_one_would_say_it(ends, text):
    assert Limit("x", "mm", "", "", **ends).allowed == text

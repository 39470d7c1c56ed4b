"""The limit rule against a plain loop over the samples, and at its edges."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.models.limit_rule import LimitResult, apply_limit_rule
from seamtell.models.verdict import Verdict

LIMITS = RecipeLimits("R1", {"specular": 20.0, "scatter": 5.0}, 5.0, 5.0, 9.0)


def trace(specular=4.0, scatter=1.0, n=100, pitch_mm=0.5, start_mm=0.0, **extra) -> SeamTrace:
    arrays = {"specular": specular, "scatter": scatter, **extra}
    amplitudes = {name: np.broadcast_to(np.asarray(a, np.float32), (n,)).copy() for name, a in arrays.items()}
    return SeamTrace("S", datetime(2026, 1, 1, tzinfo=UTC), "L1", "R1", start_mm, pitch_mm, amplitudes)


def spiked(index: int, height: float, channel: str = "scatter") -> SeamTrace:
    seam = trace()
    seam.amplitudes_pct[channel][index] = height
    return seam


def test_a_quiet_seam_is_accepted_without_reason() -> None:
    assert apply_limit_rule(trace(), LIMITS) == LimitResult(Verdict.ACCEPT, (), "")


def test_one_sample_above_the_limit_rejects_and_names_the_channel() -> None:
    assert apply_limit_rule(spiked(50, 5.1), LIMITS) == LimitResult(
        Verdict.REJECT, ("scatter",), "above_limit"
    )


def test_both_channels_above_are_both_named() -> None:
    result = apply_limit_rule(trace(specular=30.0, scatter=30.0), LIMITS)
    assert result.exceeded_channels == ("scatter", "specular")


@pytest.mark.parametrize("limit_pct", [5.0, 12.1, 12.7, 33.3])
def test_a_sample_at_the_limit_is_not_above_it_whatever_float32_makes_of_it(limit_pct: float) -> None:
    limits = replace(LIMITS, limit_pct={"specular": 90.0, "scatter": limit_pct})
    assert apply_limit_rule(spiked(50, limit_pct), limits).verdict is Verdict.ACCEPT
    just_above = float(np.nextafter(np.float32(limit_pct), np.float32(100)))
    assert apply_limit_rule(spiked(50, just_above), limits).verdict is Verdict.REJECT


def test_a_saturated_sample_is_above_any_limit() -> None:
    limits = replace(LIMITS, limit_pct={"specular": 100.0, "scatter": 100.0})
    assert apply_limit_rule(spiked(50, 99.9), limits).verdict is Verdict.ACCEPT
    assert apply_limit_rule(spiked(50, 100.0), limits).verdict is Verdict.REJECT


@pytest.mark.parametrize("index", [0, 9, 90, 99])
def test_samples_inside_the_dead_zones_are_not_judged(index: int) -> None:
    assert apply_limit_rule(spiked(index, 50.0), LIMITS).verdict is Verdict.ACCEPT


@pytest.mark.parametrize("index", [10, 89])
def test_samples_on_the_edge_of_a_dead_zone_are_judged(index: int) -> None:
    assert apply_limit_rule(spiked(index, 50.0), LIMITS).verdict is Verdict.REJECT


def test_rounding_of_positions_does_not_move_a_sample_into_a_dead_zone() -> None:
    seam = replace(spiked(3, 50.0), pitch_mm=0.1)  # 3 * 0.1 > 0.3 in floating point, 0.3 / 0.1 < 3
    limits = replace(LIMITS, dead_zone_start_mm=0.3, dead_zone_end_mm=0.1 + 0.2)
    assert apply_limit_rule(seam, limits).verdict is Verdict.REJECT


def test_no_limits_for_the_recipe_rejects() -> None:
    assert apply_limit_rule(trace(), None) == LimitResult(Verdict.REJECT, (), "no_limits_for_recipe")


def test_limits_without_one_of_the_two_channels_reject() -> None:
    assert (
        apply_limit_rule(trace(), replace(LIMITS, limit_pct={"specular": 20.0})).reason
        == "no_limits_for_recipe"
    )


def test_a_missing_channel_rejects() -> None:
    seam = trace()
    del seam.amplitudes_pct["scatter"]
    assert apply_limit_rule(seam, LIMITS).reason == "missing_channel"


def test_a_further_channel_with_a_limit_is_judged_too() -> None:
    limits = replace(LIMITS, limit_pct={**LIMITS.limit_pct, "third": 2.0})
    assert apply_limit_rule(trace(), limits).reason == "missing_channel"
    assert apply_limit_rule(trace(third=3.0), limits).exceeded_channels == ("third",)


def test_channels_of_unequal_length_reject() -> None:
    seam = trace()
    seam.amplitudes_pct["scatter"] = np.zeros(7, np.float32)
    assert apply_limit_rule(seam, LIMITS).reason == "missing_channel"


def test_empty_channels_reject() -> None:
    assert apply_limit_rule(trace(n=0), LIMITS).reason == "missing_channel"


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("index", [0, 50])
def test_a_sample_that_is_no_number_rejects_wherever_it_lies(bad: float, index: int) -> None:
    assert apply_limit_rule(spiked(index, bad), LIMITS).reason == "non_finite_amplitude"


@pytest.mark.parametrize(
    "change",
    [
        {"limit_pct": {"specular": np.nan, "scatter": 5.0}},
        {"limit_pct": {"specular": np.inf, "scatter": 5.0}},
        {"limit_pct": {"specular": 20.0, "scatter": -1.0}},
        {"dead_zone_start_mm": np.nan},
        {"dead_zone_end_mm": -1.0},
    ],
)
def test_limits_that_are_no_numbers_reject(change: dict) -> None:
    assert apply_limit_rule(trace(), replace(LIMITS, **change)).reason == "unusable_limits"


@pytest.mark.parametrize("pitch_mm", [0.0, -0.5, np.nan])
def test_a_pitch_that_is_no_distance_rejects(pitch_mm: float) -> None:
    assert apply_limit_rule(trace(pitch_mm=pitch_mm), LIMITS).verdict is Verdict.REJECT


def test_a_seam_all_in_dead_zones_is_rejected_because_nothing_was_judged() -> None:
    assert apply_limit_rule(trace(n=20), LIMITS).reason == "nothing_judged"


@settings(max_examples=150, deadline=None)
@given(
    amplitudes=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=1, max_size=40),
    limit=st.tuples(st.integers(0, 400), st.integers(0, 400)),
    dead=st.tuples(st.integers(0, 12), st.integers(0, 12)),
    start_mm=st.integers(-5, 50),
)
def test_the_verdict_is_that_of_a_plain_loop_over_the_samples(amplitudes, limit, dead, start_mm) -> None:
    # Quarters of a percent and of a millimetre: exact in binary, so the loop has no rounding of its own.
    specular, scatter = (np.array(column) / 4 for column in zip(*amplitudes, strict=True))
    seam = trace(specular, scatter, n=len(amplitudes), pitch_mm=0.25, start_mm=start_mm)
    limits = RecipeLimits(
        "R1", {"specular": limit[0] / 4, "scatter": limit[1] / 4}, dead[0] / 4, dead[1] / 4, 9.0
    )
    judged, above = 0, set()
    for i, position_mm in enumerate(seam.positions_mm()):
        if seam.start_mm + dead[0] / 4 <= position_mm <= seam.end_mm - dead[1] / 4:
            judged += 1
            above |= {"specular"} if specular[i] > limit[0] / 4 or specular[i] == 100 else set()
            above |= {"scatter"} if scatter[i] > limit[1] / 4 or scatter[i] == 100 else set()
    result = apply_limit_rule(seam, limits)
    assert (result.verdict is Verdict.ACCEPT) == (judged > 0 and not above)
    assert set(result.exceeded_channels) == above


@pytest.mark.parametrize(
    ("verdict", "channels", "reason"),
    [
        (Verdict.REVIEW, (), "above_limit"),
        (Verdict.REJECT, (), ""),
        (Verdict.ACCEPT, (), "above_limit"),
        (Verdict.ACCEPT, ("scatter",), ""),
    ],
)
def test_a_contradictory_limit_result_cannot_be_made(verdict, channels, reason) -> None:
    with pytest.raises(ValueError, match="limit result"):
        LimitResult(verdict, channels, reason)


def test_a_quotient_of_dead_zone_and_pitch_that_overflows_covers_the_whole_seam() -> None:
    limits = replace(LIMITS, dead_zone_start_mm=1e300)
    assert apply_limit_rule(trace(pitch_mm=1e-300), limits).reason == "nothing_judged"

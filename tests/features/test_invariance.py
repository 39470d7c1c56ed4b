"""What must not matter: common gain, travel direction, sound seam around, sample pitch, place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors.registry import ALL, by_name, model_names, names

Array = np.ndarray
Build = Callable[..., SeamTrace]
SCAN_NAMES = (
    "lof_L14_d100",
    "lof_L22_taper40-90",
    "lof_L34_d60",
    "mismatch_0.3_L25",
    "notch_bottom_L9_d25",
    "notch_top_L4_d25",
    "notch_top_L5_d45",
    "pinhole_D0.5",
    "pinhole_D1.2",
)
FIXED = settings(max_examples=20, deadline=None)
seeds = st.integers(0, 10_000)


def noisy_seam(seed: int, n: int = 700) -> tuple[Array, Array]:
    """A seam of random humps and plateaus with noise on both channels."""
    rng = np.random.default_rng(seed)
    x = 0.5 * np.arange(n)
    specular, scatter = 7.0 + rng.normal(0.0, 0.3, n), np.abs(0.3 + rng.normal(0.0, 0.2, n))
    for _ in range(rng.integers(1, 4)):
        half, at = rng.uniform(0.5, 20.0), rng.uniform(30.0, 320.0)
        edges = 1.0 / (1.0 + np.exp((np.abs(x - at) - half) / 2.5))
        specular += rng.uniform(2.0, 60.0) * edges
        scatter += rng.uniform(0.5, 15.0) * edges * (0.3 + np.abs(x - at) / (half + 5.0))
    return specular, scatter


def placed(
    scan: Any, scale: float, pitch_mm: float, before_mm: float, after_mm: float
) -> tuple[Array, Array]:
    """A full-wave scan, its excursion scaled, with sound seam before and after."""
    x = np.arange(scan.position_mm[0] - before_mm, scan.position_mm[-1] + after_mm + 1e-9, pitch_mm)
    specular = np.interp(x, scan.position_mm, scan.specular)
    scatter = np.interp(x, scan.position_mm, scan.scatter)
    return specular[0] + scale * (specular - specular[0]), scatter[0] + scale * (scatter - scatter[0])


def described(trace: SeamTrace, limits: RecipeLimits) -> tuple[tuple[Any, ...], Array]:
    analysis = analyse_seam(trace, limits)
    return analysis.indications, describe_seam(analysis)


def assert_close(expected: Array, got: Array, *, ratio: float, decibel: float, share: float = 0.0) -> None:
    """Compare model descriptors: pure numbers, decibels, and a relative part for both; counts exactly."""
    for name, one, other in zip(names(), expected, got, strict=True):
        if name in model_names():
            width = decibel if by_name(name).unit == "dB" else ratio
            width = 0.0 if name.endswith("humps") else width
            assert abs(one - other) <= width + share * abs(one), (name, one, other)


@given(seed=seeds, gain=st.floats(0.05, 20.0))
@FIXED
def test_common_gain_changes_only_what_follows_it(
    make_trace: Build, no_limits: RecipeLimits, seed: int, gain: float
) -> None:
    specular, scatter = noisy_seam(seed)
    before, values = described(make_trace(specular, scatter), no_limits)
    after, scaled = described(make_trace(gain * specular, gain * scatter), no_limits)
    assert [(i.start_mm, i.end_mm, i.channels) for i in before] == [
        (i.start_mm, i.end_mm, i.channels) for i in after
    ]
    factors = np.array([gain if one.gain == "follows" else 1.0 for one in ALL])
    assert scaled == pytest.approx(values * factors, rel=1e-6, abs=1e-6)


@given(seed=seeds)
@FIXED
def test_travel_direction_does_not_matter(make_trace: Build, limits: RecipeLimits, seed: int) -> None:
    specular, scatter = noisy_seam(seed)
    before, values = described(make_trace(specular, scatter), limits)
    after, mirrored = described(make_trace(specular[::-1], scatter[::-1]), limits)
    assert mirrored[::-1] == pytest.approx(values, rel=1e-6, abs=1e-6)
    length_mm = 0.5 * (len(specular) - 1)
    assert [length_mm - i.end_mm for i in after[::-1]] == pytest.approx([i.start_mm for i in before])


@given(seed=seeds, start_mm=st.floats(-1e4, 1e4))
@FIXED
def test_place_along_the_seam_does_not_matter(
    make_trace: Build, limits: RecipeLimits, seed: int, start_mm: float
) -> None:
    specular, scatter = noisy_seam(seed)
    before, values = described(make_trace(specular, scatter), limits)
    after, shifted = described(make_trace(specular, scatter, start_mm=start_mm), limits)
    assert shifted == pytest.approx(values, rel=1e-6, abs=1e-6)
    assert [i.peak_mm - start_mm for i in after] == pytest.approx([i.peak_mm for i in before])


@given(
    name=st.sampled_from(SCAN_NAMES),
    scale=st.floats(0.5, 1.0),
    padding=st.tuples(st.floats(95.0, 250.0), st.floats(95.0, 250.0)),
)
@FIXED
def test_sound_seam_around_changes_the_descriptors_little(
    scan: Callable[[str], Any],
    make_trace: Build,
    limits: RecipeLimits,
    name: str,
    scale: float,
    padding: tuple[float, float],
) -> None:
    flaw = scan(name)
    _, (values,) = described(make_trace(*placed(flaw, scale, 0.25, 95.0, 95.0), 0.25), limits)
    _, (padded,) = described(make_trace(*placed(flaw, scale, 0.25, *padding), 0.25), limits)
    assert_close(values, padded, ratio=0.06, decibel=0.15)


@given(name=st.sampled_from(SCAN_NAMES), scale=st.floats(0.5, 1.0), pitch_mm=st.floats(0.1, 1.0))
@example(name="mismatch_0.3_L25", scale=1.0, pitch_mm=0.9609375)  # ten samples a beam: asymmetry 0.128
@FIXED
def test_sample_pitch_changes_the_descriptors_little(
    scan: Callable[[str], Any],
    make_trace: Build,
    limits: RecipeLimits,
    name: str,
    scale: float,
    pitch_mm: float,
) -> None:
    flaw = scan(name)
    _, (values,) = described(make_trace(*placed(flaw, scale, 0.25, 100.0, 100.0), 0.25), limits)
    trace = make_trace(*placed(flaw, scale, pitch_mm, 100.0, 100.0), pitch_mm)
    _, (resampled,) = described(trace, limits)
    assert_close(values, resampled, ratio=0.15, decibel=0.5, share=0.05)


def test_noisy_padding_changes_the_descriptors_little(
    scan: Callable[[str], Any], make_trace: Build, limits: RecipeLimits
) -> None:
    rng = np.random.default_rng(5)
    specular, scatter = placed(scan("notch_top_L5_d45"), 1.0, 0.5, 400.0, 400.0)
    specular = specular + rng.normal(0.0, 0.3, len(specular))
    scatter = np.abs(scatter + rng.normal(0.0, 0.15, len(scatter)))
    cut = slice(600, -600)
    _, (values,) = described(make_trace(specular[cut], scatter[cut]), limits)
    _, (padded,) = described(make_trace(specular, scatter), limits)
    assert_close(values, padded, ratio=0.15, decibel=1.0)

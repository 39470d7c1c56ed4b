from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf
from scipy.stats import norm

from seamtell.features.baseline import _smooth, baseline_curve, baseline_pct

X_MM = np.arange(0.0, 512.0, 0.5)


def plateau(start_mm: float, end_mm: float, height_pct: float, edge_mm: float = 4.0) -> np.ndarray:
    """A box seen by a Gaussian beam."""
    scale = edge_mm * np.sqrt(2.0)
    return height_pct / 2.0 * (erf((X_MM - start_mm) / scale) - erf((X_MM - end_mm) / scale))


def noisy(seed: int, wander_pct: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    phase = rng.uniform(0.0, 2.0 * np.pi)
    return 7.0 + wander_pct * np.sin(2 * np.pi * X_MM / 300.0 + phase) + rng.normal(0.0, 0.3, len(X_MM))


def test_noise_alone_does_not_bias_the_baseline() -> None:
    bias = [np.mean(baseline_pct(noisy(seed), 0.5)) - 7.0 for seed in range(60)]
    # Mean of 60 medians of 1,024 samples; a 20 % quantile would lie 0.25 % FSH below.
    assert abs(np.mean(bias)) < 4.0 * np.sqrt(np.pi / 2.0) * 0.3 / np.sqrt(60 * 1024)
    assert norm.ppf(0.2) * 0.3 < -0.25


def test_noise_larger_than_the_level_does_not_bias_the_baseline_either() -> None:
    # Block medians scatter by 0.3 % FSH here, as much as the whole level.
    bias = []
    for seed in range(40):
        trace = 0.3 + np.random.default_rng(seed).normal(0.0, 1.0, 1024)
        bias.append(np.mean(baseline_pct(trace, 0.5)) - 0.3)
    assert abs(np.mean(bias)) < 0.05


def test_slow_drift_and_ripple_are_followed() -> None:
    for seed in range(10):
        truth = 7.0 + 0.8 * np.sin(2 * np.pi * X_MM / 320.0 + seed) + 0.2 * np.sin(2 * np.pi * X_MM / 140.0)
        trace = truth + np.random.default_rng(seed).normal(0.0, 0.3, len(X_MM))
        assert np.sqrt(np.mean((baseline_pct(trace, 0.5) - truth) ** 2)) < 0.15


@pytest.mark.parametrize("start_mm", [13.0, 150.0, 298.0])
@pytest.mark.parametrize("height_pct", [5.0, 12.0, 40.0])
def test_flaw_of_200_mm_is_not_swallowed(start_mm: float, height_pct: float) -> None:
    for seed in range(5):
        trace = noisy(seed, wander_pct=0.5) + plateau(start_mm, start_mm + 200.0, height_pct)
        baseline = baseline_pct(trace, 0.5)
        inside = (start_mm + 15.0 < X_MM) & (start_mm + 185.0 > X_MM)
        assert np.mean((trace - baseline)[inside]) > 0.75 * height_pct


def test_flaws_over_half_of_a_short_seam_are_not_swallowed(hump: Callable[..., np.ndarray]) -> None:
    x = np.arange(0.0, 128.0, 0.5)
    trace = 7.5 + np.random.default_rng(8).normal(0.0, 0.3, len(x))
    for at in (18.0, 48.0, 80.0, 110.0):
        trace += hump(x, at, 12.0, 11.0)
    assert np.abs(baseline_pct(trace, 0.5) - 7.5).max() < 0.5


@given(st.integers(1, 400), st.floats(0.1, 2.0), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_baseline_mirrors_with_the_trace_and_scales_with_it(n: int, pitch_mm: float, seed: int) -> None:
    trace = np.random.default_rng(seed).gamma(20.0, 0.35, n)
    baseline = baseline_pct(trace, pitch_mm)
    assert baseline.shape == (n,)
    assert np.isfinite(baseline).all()
    assert baseline_pct(trace[::-1], pitch_mm)[::-1] == pytest.approx(baseline, rel=1e-9)
    assert baseline_pct(2.0 * trace, pitch_mm) == pytest.approx(2.0 * baseline, rel=1e-9)


@pytest.mark.parametrize("n", [1, 2, 3, 7, 31, 1000])
def test_constant_trace_is_its_own_baseline(n: int) -> None:
    assert baseline_pct(np.full(n, 7.0), 0.5) == pytest.approx(7.0)


def test_empty_trace_has_an_empty_baseline() -> None:
    assert baseline_pct(np.empty(0), 0.5).shape == (0,)


def test_where_no_block_lies_at_the_start_the_lowest_one_is_taken() -> None:
    zigzag = np.where(np.arange(48) // 16 % 2 == 0, 100.0, 0.0)
    assert np.isfinite(baseline_pct(zigzag, 0.5)).all()


def test_smoother_solves_the_normal_equations_of_its_penalties() -> None:
    # Reference: the same weighted least squares written as dense matrices (Eilers 2003, eq. 6).
    rng = np.random.default_rng(9)
    values, taken = rng.normal(size=12), rng.uniform(size=12) > 0.3
    first, second = np.diff(np.eye(12), axis=0), np.diff(np.eye(12), 2, axis=0)
    matrix = np.diag(taken.astype(float)) + 0.1 * first.T @ first + 10.0 * second.T @ second
    assert _smooth(values, taken) == pytest.approx(np.linalg.solve(matrix, taken * values))


def test_level_is_that_of_the_samples_of_the_baseline() -> None:
    for seed in range(20):
        trace = noisy(seed, wander_pct=0.8) + plateau(150.0, 250.0, 20.0)
        curve = baseline_curve(trace, 0.5)
        assert curve.level_pct == pytest.approx(np.median(curve.samples_pct(len(trace))), abs=0.03)
        assert np.array_equal(curve.samples_pct(len(trace)), baseline_pct(trace, 0.5))

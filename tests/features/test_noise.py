from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation, norm

from seamtell.features import noise
from seamtell.features.noise import SMALLEST_PCT, noise_floor_pct, noise_pct


def test_factor_is_that_of_the_normal_distribution() -> None:
    assert pytest.approx(1.0 / norm.ppf(0.75), abs=1e-12) == noise._MAD_TO_SIGMA


def test_symmetric_noise_gives_the_median_absolute_deviation_of_scipy() -> None:
    values = np.random.default_rng(5).normal(7.0, 0.3, 50_001)
    expected = median_abs_deviation(values, scale="normal")
    assert noise_pct(values, np.full(values.shape, np.median(values))) == pytest.approx(expected, rel=0.02)


def test_flaw_over_half_of_the_seam_changes_nothing_much() -> None:
    values = np.random.default_rng(6).normal(7.0, 0.3, 20_000)
    values[:10_000] += 20.0
    assert noise_pct(values, np.full(values.shape, 7.0)) == pytest.approx(0.3, rel=0.05)


def test_floor_holds_for_a_trace_without_noise() -> None:
    flat = np.full(100, 7.0)
    assert noise_pct(flat, flat, noise_floor_pct(7.0)) == pytest.approx(0.07)


def test_floor_follows_the_gain() -> None:
    assert noise_floor_pct(3.0 * 7.0) == pytest.approx(3.0 * noise_floor_pct(7.0))


def test_noise_is_never_zero_even_where_nothing_lies_below_the_baseline() -> None:
    assert noise_pct(np.full(9, 8.0), np.full(9, 7.0)) == SMALLEST_PCT
    assert noise_pct(np.zeros(1), np.zeros(1)) == SMALLEST_PCT
    assert noise_floor_pct(0.0) == 0.0

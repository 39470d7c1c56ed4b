from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from seamtell.features.smoothing import DESPIKE_BEAMS, despiked_pct, smoothed_pct


@pytest.mark.parametrize("size", [3, 5, 9])
def test_average_over_an_odd_number_of_samples_is_that_of_scipy(size: int) -> None:
    values = np.random.default_rng(3).normal(7.0, 1.0, 200)
    assert smoothed_pct(values, 0.5, size * 0.5) == pytest.approx(uniform_filter1d(values, size), abs=1e-12)


@pytest.mark.parametrize("pitch_mm", [0.1, 0.25, 0.5, 1.0, 2.0])
def test_average_keeps_area_and_level_at_any_pitch(pitch_mm: float) -> None:
    x = np.arange(0.0, 100.0, pitch_mm)
    hump = np.exp(-0.5 * ((x - 50.0) / 4.0) ** 2)
    smooth = smoothed_pct(hump, pitch_mm, 2.35)
    assert smooth.sum() == pytest.approx(hump.sum(), rel=1e-9)
    assert smoothed_pct(np.full_like(x, 7.0), pitch_mm, 2.35) == pytest.approx(7.0)


def test_average_hardly_depends_on_the_pitch() -> None:
    peaks = []
    for pitch_mm in (0.1, 0.3, 0.5, 0.7, 1.0):
        x = pitch_mm * np.arange(-40, 41)
        peaks.append(smoothed_pct(np.exp(-0.5 * (x / 4.0) ** 2), pitch_mm, 2.35).max())
    assert np.ptp(peaks) < 0.02


def test_stretch_shorter_than_the_pitch_changes_nothing() -> None:
    values = np.array([1.0, 5.0, 2.0])
    assert smoothed_pct(values, 2.0, 1.5).tolist() == values.tolist()


def test_spike_vanishes_and_a_beam_wide_hump_stays() -> None:
    x = np.arange(0.0, 100.0, 0.5)
    hump = 10.0 * np.exp(-4 * np.log(2) * ((x - 60.0) / 9.4) ** 2)
    spiked = hump.copy()
    spiked[40:42] += 50.0
    quiet = despiked_pct(spiked, 0.5, 9.4)
    assert quiet[30:52].max() < 0.1
    assert quiet.max() == pytest.approx(10.0, rel=0.08)


def test_mirrored_trace_gives_the_mirrored_result() -> None:
    values = np.random.default_rng(4).normal(7.0, 1.0, 301)
    assert despiked_pct(values[::-1], 0.5, 9.4)[::-1] == pytest.approx(despiked_pct(values, 0.5, 9.4))


@pytest.mark.parametrize("n", [2, 3, 4, 6, 11])
def test_a_window_far_longer_than_the_trace_sees_the_trace_reflected_over_and_over(n):
    # numpy: the median of each window of the padded trace, the definition of a running median
    trace = np.random.default_rng(n).random(n)
    size = 59
    padded = np.pad(trace, size // 2, mode="symmetric")
    medians = np.array([np.median(padded[i : i + size]) for i in range(n)])
    beam_mm = 0.1 * size / DESPIKE_BEAMS
    expected = smoothed_pct(medians, 0.1, DESPIKE_BEAMS * beam_mm)
    np.testing.assert_array_equal(despiked_pct(trace, 0.1, beam_mm), expected)

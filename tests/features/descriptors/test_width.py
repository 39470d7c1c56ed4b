from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal

from seamtell.features.descriptors import width
from seamtell.features.descriptors.profile import IndicationView

Array = np.ndarray
PITCH_MM = 0.25
X_MM = PITCH_MM * np.arange(241)
FLAT = np.zeros(241)


def gauss(sigma_mm: float, height: float = 10.0, at_mm: float = 30.0) -> Array:
    return height * np.exp(-0.5 * ((X_MM - at_mm) / sigma_mm) ** 2)


@pytest.mark.parametrize("sigma_mm", [1.5, 4.0, 7.0])
def test_gaussian_is_2_3548_standard_deviations_wide_at_half_maximum(
    sigma_mm: float, make_view: Callable[..., IndicationView]
) -> None:
    view = make_view(gauss(sigma_mm), gauss(sigma_mm))
    assert width.fwhm_mm.specular(view) == pytest.approx(2.3548 * sigma_mm, rel=0.003)
    assert width.outer_width_beams.scatter(view) == pytest.approx(2.3548 * sigma_mm / 9.4, rel=0.003)


@pytest.mark.parametrize("seed", range(8))
def test_widths_are_those_of_scipy(seed: int, make_view: Callable[..., IndicationView]) -> None:
    rng = np.random.default_rng(seed)
    places, sigmas, heights = rng.uniform(15, 45, 3), rng.uniform(2, 6, 3), rng.uniform(1, 20, 3)
    values = sum(gauss(s, h, p) for p, s, h in zip(places, sigmas, heights, strict=True))
    peak = int(np.argmax(values))
    # Heights from zero, not from the foot of the peak: base 0, prominence = height.
    foot = (np.array([values[peak]]), np.array([0]), np.array([240]))
    view = make_view(values, FLAT)
    found = (width.width_90_mm, width.fwhm_mm, width.width_10_mm)
    for descriptor, share in zip(found, (0.9, 0.5, 0.1), strict=True):
        samples = signal.peak_widths(values, [peak], rel_height=1.0 - share, prominence_data=foot)[0][0]
        assert descriptor.specular(view) == pytest.approx(samples * PITCH_MM)


def test_spread_and_equivalent_width_of_a_gaussian(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(gauss(4.0), FLAT)
    assert width.rms_width_beams.specular(view) == pytest.approx(2.3548 * 4.0 / 9.4, rel=1e-4)
    assert width.equivalent_width_mm.specular(view) == pytest.approx(np.sqrt(2 * np.pi) * 4.0, rel=1e-4)
    assert width.area_pct_mm.specular(view) == pytest.approx(np.trapezoid(gauss(4.0), X_MM), rel=1e-4)
    expected = np.sqrt(np.log(5.0) / np.log(2.0))
    assert width.tail_ratio.specular(view) == pytest.approx(expected, rel=0.005)


def test_outer_width_spans_several_humps_and_the_inner_one_does_not(
    make_view: Callable[..., IndicationView],
) -> None:
    view = make_view(FLAT, gauss(3.0, 8.0, 20.0) + gauss(3.0, 10.0, 40.0))
    assert width.fwhm_mm.scatter(view) < 10.0
    assert width.outer_width_beams.scatter(view) * 9.4 > 25.0


def test_hump_separation_is_one_when_scatter_shows_the_ends_of_a_plateau(
    make_view: Callable[..., IndicationView],
) -> None:
    box = np.where(np.abs(X_MM - 30.0) <= 12.0, 10.0, 0.0)
    view = make_view(box, gauss(3.0, 8.0, 18.0) + gauss(3.0, 10.0, 42.0))
    assert width.hump_separation(view) == pytest.approx(1.0, abs=0.02)
    assert width.hump_separation(make_view(box, gauss(3.0))) == 0.0


def test_extent_is_that_of_the_indication(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(gauss(4.0), FLAT)
    assert width.extent_mm(view) == 60.0
    assert width.extent_beams(view) == pytest.approx(60.0 / 9.4)


def test_profile_that_does_not_fall_to_the_level_is_as_wide_as_the_window(
    make_view: Callable[..., IndicationView],
) -> None:
    view = make_view(np.full(241, 3.0), FLAT)
    assert width.fwhm_mm.specular(view) == 60.0


def test_profile_without_height_has_no_width(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(FLAT, np.full(241, -1.0))
    assert width.fwhm_mm.specular(view) == 0.0
    assert width.outer_width_beams.scatter(view) == 0.0
    assert width.tail_ratio.scatter(view) == 1.0


@pytest.mark.parametrize("seed", range(6))
def test_hump_separation_in_beams_is_the_distance_of_the_two_highest_peaks_of_scipy(
    seed: int, make_view: Callable[..., IndicationView]
) -> None:
    rng = np.random.default_rng(seed)
    ends = gauss(3.0, rng.uniform(3, 9), rng.uniform(10, 20)) + gauss(3.0, 10.0, rng.uniform(35, 50))
    peaks, found = signal.find_peaks(ends, height=1.0, prominence=1.0)
    first, second = peaks[np.argsort(found["peak_heights"])[::-1][:2]]
    expected = abs(first - second) * PITCH_MM / 9.4
    assert width.hump_separation_beams(make_view(gauss(4.0), ends)) == pytest.approx(expected)


def test_hump_separation_in_beams_is_zero_for_a_single_hump(make_view: Callable[..., IndicationView]) -> None:
    assert width.hump_separation_beams(make_view(gauss(4.0), gauss(4.0))) == 0.0


def test_area_in_decibels_is_the_trapezium_sum_over_a_beam_of_sound_seam(
    make_view: Callable[..., IndicationView],
) -> None:
    view = make_view(gauss(4.0), gauss(2.0, 0.5))
    for got, values in (
        (width.area_db.specular(view), gauss(4.0)),
        (width.area_db.scatter(view), gauss(2.0, 0.5)),
    ):
        expected = 20.0 * np.log10(np.trapezoid(values, X_MM) / (7.0 * 9.4))
        assert got == pytest.approx(expected, abs=1e-3)


def test_area_in_decibels_of_a_flat_profile_is_that_of_the_noise(
    make_view: Callable[..., IndicationView],
) -> None:
    assert width.area_db.specular(make_view(FLAT, FLAT)) == pytest.approx(20.0 * np.log10(1e-3 / 7.0))

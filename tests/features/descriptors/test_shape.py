from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal, stats

from seamtell.features.descriptors import shape
from seamtell.features.descriptors.profile import IndicationView

Array = np.ndarray
X_MM = 0.25 * np.arange(241)
FLAT = np.zeros(241)


def lumpy(seed: int) -> Array:
    """Three humps of random height and width."""
    rng = np.random.default_rng(seed)
    places, widths, heights = rng.uniform(10, 50, 3), rng.uniform(2, 6, 3), rng.uniform(1, 20, 3)
    return sum(
        h * np.exp(-0.5 * ((X_MM - p) / w) ** 2) for p, w, h in zip(places, widths, heights, strict=True)
    )


def gauss(sigma_mm: float, height: float = 10.0, at_mm: float = 30.0) -> Array:
    return height * np.exp(-0.5 * ((X_MM - at_mm) / sigma_mm) ** 2)


@pytest.mark.parametrize("seed", range(8))
def test_prominence_is_that_of_scipy(seed: int, make_view: Callable[..., IndicationView]) -> None:
    values = lumpy(seed)
    peak = int(np.argmax(values))
    expected = signal.peak_prominences(values, [peak])[0][0]
    view = make_view(values, values)
    assert shape.prominence_pct.specular(view) == pytest.approx(expected)
    assert shape.prominence_share.scatter(view) == pytest.approx(expected / values[peak])


@pytest.mark.parametrize("seed", range(8))
def test_humps_are_the_peaks_of_scipy_of_the_same_height_and_prominence(
    seed: int, make_view: Callable[..., IndicationView]
) -> None:
    values = lumpy(seed)
    least = 0.1 * values.max()
    peaks, found = signal.find_peaks(values, height=least, prominence=least)
    view = make_view(values, FLAT)
    assert shape.humps.specular(view) == len(peaks)
    heights = np.sort(found["peak_heights"])[::-1]
    second = heights[1] / heights[0] if len(heights) > 1 else 0.0
    assert shape.second_hump.specular(view) == pytest.approx(second)


@pytest.mark.parametrize("seed", range(8))
def test_skewness_and_kurtosis_are_those_of_scipy(
    seed: int, make_view: Callable[..., IndicationView]
) -> None:
    weights = np.round(lumpy(seed) * 20.0)
    sample = np.repeat(X_MM, weights.astype(int))
    view = make_view(weights, FLAT)
    assert shape.skewness_size.specular(view) == pytest.approx(abs(stats.skew(sample)))
    assert shape.kurtosis.specular(view) == pytest.approx(stats.kurtosis(sample))


def test_heights_in_decibels_are_over_the_sound_seam_and_over_the_noise(
    make_view: Callable[..., IndicationView],
) -> None:
    view = make_view(gauss(4.0, 7.0), gauss(4.0, 0.7))
    assert shape.height_pct.specular(view) == pytest.approx(7.0)
    assert shape.height_db.specular(view) == pytest.approx(0.0)
    assert shape.height_db.scatter(view) == pytest.approx(-20.0)
    assert shape.height_over_noise_db.scatter(view) == pytest.approx(20.0 * np.log10(0.7 / 1e-3))


def test_amplitude_over_the_limit_uses_the_raw_amplitude(make_view: Callable[..., IndicationView]) -> None:
    assert shape.over_limit.specular(make_view(gauss(4.0, 13.0), FLAT)) == pytest.approx(1.0)


def test_flanks_of_a_gaussian_have_its_mean_slope(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(gauss(4.0), gauss(4.0))
    way_mm = 4.0 * (np.sqrt(2.0 * np.log(10.0)) - np.sqrt(2.0 * np.log(1.0 / 0.9)))
    assert shape.steeper_slope_pct_per_mm.specular(view) == pytest.approx(8.0 / way_mm, rel=0.005)
    assert shape.steeper_flank.specular(view) == pytest.approx(0.8 * 9.4 / way_mm, rel=0.005)
    assert shape.gentler_flank.specular(view) == pytest.approx(shape.steeper_flank.specular(view), rel=1e-6)


def test_ramp_has_one_steep_and_one_gentle_flank(make_view: Callable[..., IndicationView]) -> None:
    ramp = np.interp(X_MM, [10.0, 40.0, 44.0], [0.0, 10.0, 0.0])
    view = make_view(ramp, FLAT)
    assert shape.gentler_flank.specular(view) == pytest.approx(9.4 / 30.0, rel=0.01)
    assert shape.steeper_flank.specular(view) == pytest.approx(9.4 / 4.0, rel=0.01)
    # Half widths 15 and 2 mm.
    assert shape.asymmetry.specular(view) == pytest.approx(13.0 / 17.0, rel=0.01)


def test_flatness_tells_a_plateau_from_a_gaussian(make_view: Callable[..., IndicationView]) -> None:
    expected = np.sqrt(np.log(1.0 / 0.9) / np.log(2.0))
    assert shape.flatness.specular(make_view(gauss(4.0), FLAT)) == pytest.approx(expected, rel=0.01)
    box = np.where(np.abs(X_MM - 30.0) < 15.0, 10.0, 0.0)
    assert shape.flatness.specular(make_view(box, FLAT)) == pytest.approx(1.0, abs=0.02)


def test_dip_between_two_humps_is_a_share_of_the_lower(make_view: Callable[..., IndicationView]) -> None:
    two = np.interp(X_MM, [5, 15, 25, 35, 45], [0.0, 8.0, 2.0, 10.0, 0.0])
    view = make_view(two, gauss(4.0))
    assert shape.hump_dip.specular(view) == pytest.approx(0.75)
    assert shape.second_hump.specular(view) == pytest.approx(0.8)
    assert shape.hump_dip.scatter(view) == 0.0


def test_raggedness_is_the_residual_of_the_parabola_of_numpy(
    make_view: Callable[..., IndicationView],
) -> None:
    rng = np.random.default_rng(2)
    ragged = np.where(np.abs(X_MM - 30.0) < 15.0, 10.0 + rng.normal(0.0, 0.4, len(X_MM)), 0.0)
    top = ragged >= 0.7 * ragged.max()
    fit = np.polynomial.Polynomial.fit(X_MM[top], ragged[top], 2)
    expected = np.sqrt(np.mean((ragged[top] - fit(X_MM[top])) ** 2)) / ragged.max()
    assert shape.top_roughness.specular(make_view(ragged, FLAT)) == pytest.approx(expected)
    assert shape.top_roughness.specular(make_view(gauss(4.0), FLAT)) < 0.01
    assert shape.top_roughness.specular(make_view(np.eye(1, 241, 120)[0], FLAT)) == 0.0


def test_flat_zero_has_its_stated_values(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(FLAT, FLAT)
    assert shape.kurtosis.specular(view) == -1.2
    assert shape.skewness_size.specular(view) == 0.0
    assert shape.humps.specular(view) == 1.0
    assert shape.height_over_noise_db.specular(view) == 0.0


@pytest.mark.parametrize("seed", range(8))
def test_second_hump_in_decibels_is_that_of_the_peaks_of_scipy(
    seed: int, make_view: Callable[..., IndicationView]
) -> None:
    values = lumpy(seed)
    least = 0.1 * values.max()
    _, found = signal.find_peaks(values, height=least, prominence=least)
    heights = np.sort(found["peak_heights"])[::-1]
    expected = 20.0 * np.log10(heights[1] / heights[0]) if len(heights) > 1 else -20.0
    assert shape.second_hump_db.scatter(make_view(FLAT, values)) == pytest.approx(expected)

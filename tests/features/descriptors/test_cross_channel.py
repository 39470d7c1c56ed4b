from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal

from seamtell.features.descriptors import cross_channel as cross
from seamtell.features.descriptors.profile import IndicationView

Array = np.ndarray
PITCH_MM = 0.25
X_MM = PITCH_MM * np.arange(241)
FLAT = np.zeros(241)


def gauss(at_mm: float, height: float = 10.0, sigma_mm: float = 4.0) -> Array:
    return height * np.exp(-0.5 * ((X_MM - at_mm) / sigma_mm) ** 2)


BOX = np.where(np.abs(X_MM - 30.0) <= 12.0, 10.0, 0.0)
ENDS = gauss(18.0, 4.0, 3.0) + gauss(42.0, 8.0, 3.0)


@pytest.mark.parametrize("seed", range(8))
def test_lag_and_correlation_are_those_of_scipy(seed: int, make_view: Callable[..., IndicationView]) -> None:
    rng = np.random.default_rng(seed)
    s = gauss(rng.uniform(20, 40)) + rng.normal(0.0, 0.5, 241)
    c = gauss(rng.uniform(20, 40), 5.0) + gauss(rng.uniform(20, 40), 4.0, 2.0)
    products = signal.correlate(c, s, mode="full")
    lags = signal.correlation_lags(241, 241, mode="full")
    expected_mm = abs(lags[np.argmax(products)]) * PITCH_MM
    view = make_view(s, c)
    assert cross.lag_mm(view) == pytest.approx(expected_mm)
    assert cross.lag_beams(view) == pytest.approx(expected_mm / 9.4)
    best = products.max() / np.sqrt(np.sum(s**2) * np.sum(c**2))
    assert cross.correlation_at_best_lag(view) == pytest.approx(best)


def test_shifted_copy_correlates_fully_at_its_shift(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(gauss(25.0), gauss(31.0, 4.0))
    assert cross.lag_mm(view) == 6.0
    assert cross.correlation_at_best_lag(view) == pytest.approx(1.0, abs=1e-6)
    assert cross.centre_offset(view) == pytest.approx(6.0 / 9.4, rel=1e-3)


def test_ratios_of_heights_and_areas(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(gauss(30.0, 20.0, 4.0), gauss(30.0, 2.0, 2.0))
    assert cross.height_ratio_db(view) == pytest.approx(20.0)
    assert cross.height_ratio(view) == pytest.approx(10.0 / 11.0)
    assert cross.area_ratio_db(view) == pytest.approx(20.0 * np.log10(20.0), rel=1e-3)
    assert cross.spread_ratio_db(view) == pytest.approx(20.0 * np.log10(0.5), rel=1e-3)
    assert cross.width_ratio(view) == pytest.approx(0.5, rel=0.01)


def test_proportional_channels_leave_no_residual(make_view: Callable[..., IndicationView]) -> None:
    assert cross.proportional_residual(make_view(gauss(30.0), gauss(30.0, 3.0))) == pytest.approx(
        0.0, abs=1e-12
    )
    s, c = BOX, ENDS
    # One less the square of the correlation about zero (cosine), as in numpy.
    cosine = np.dot(s, c) / (np.linalg.norm(s) * np.linalg.norm(c))
    assert cross.proportional_residual(make_view(s, c)) == pytest.approx(1.0 - cosine**2)


def test_common_change_of_gain_is_recognised(make_view: Callable[..., IndicationView]) -> None:
    # Baselines 7 % and 0.5 %: a gain bump raises both by the same share.
    share = gauss(30.0, 0.4)
    assert cross.common_gain_residual(make_view(7.0 * share, 0.5 * share)) == pytest.approx(0.0, abs=1e-12)
    assert cross.common_gain_residual(make_view(7.0 * share, 20.0 * share)) > 0.9


def test_scatter_at_the_ends_is_told_from_scatter_in_the_middle(
    make_view: Callable[..., IndicationView],
) -> None:
    ends, middle = make_view(BOX, ENDS), make_view(gauss(30.0), gauss(30.0))
    assert cross.scatter_ends_over_middle_db(ends) > 20.0
    assert cross.scatter_ends_over_middle_db(middle) == pytest.approx(20.0 * np.log10(0.5), abs=0.3)
    assert cross.scatter_at_centre(ends) < 0.05
    assert cross.scatter_at_centre(middle) == pytest.approx(1.0, abs=0.03)


def test_one_sided_scatter_has_a_size_but_no_side(make_view: Callable[..., IndicationView]) -> None:
    expected = 20.0 * np.log10(2.0)
    assert cross.scatter_sides_db(make_view(BOX, ENDS)) == pytest.approx(expected, abs=0.05)
    assert cross.scatter_sides_db(make_view(BOX, ENDS[::-1])) == pytest.approx(expected, abs=0.05)


def test_peak_offset_is_one_at_an_end(make_view: Callable[..., IndicationView]) -> None:
    assert cross.peak_offset(make_view(BOX, ENDS)) == pytest.approx(1.0, abs=0.02)
    assert cross.peak_offset(make_view(gauss(30.0), gauss(30.0))) == pytest.approx(0.0, abs=1e-9)


def test_channels_without_excursion_have_their_stated_values(
    make_view: Callable[..., IndicationView],
) -> None:
    none, no_scatter, no_specular = make_view(FLAT, FLAT), make_view(BOX, FLAT), make_view(FLAT, BOX)
    assert cross.area_ratio_db(none) == 0.0
    assert cross.area_ratio_db(no_scatter) == 30.0
    assert cross.area_ratio_db(no_specular) == -30.0
    assert cross.lag_mm(no_scatter) == 0.0
    assert cross.correlation_at_best_lag(no_specular) == 0.0
    assert cross.proportional_residual(no_scatter) == 1.0
    assert cross.common_gain_residual(none) == 1.0


def test_channels_that_never_rise_together_still_have_a_lag(
    make_view: Callable[..., IndicationView],
) -> None:
    s, c = np.full(241, 1.0), np.full(241, -1.0)
    products = signal.correlate(c, s, mode="full")
    view = make_view(s, c)
    assert abs(view.overlaid[0]) == 240 * PITCH_MM
    assert view.overlaid[1] == pytest.approx(products.max() / 241)


@pytest.mark.parametrize(("left", "right"), [(8.0, 2.0), (2.0, 8.0), (5.0, 5.0)])
def test_end_ratio_is_the_decibels_between_what_numpy_averages_at_both_ends(
    left: float, right: float, make_view: Callable[..., IndicationView]
) -> None:
    # Humps at the half-height crossings of a box from 18 to 42 mm.
    box = np.where(np.abs(X_MM - 30.0) <= 12.0, 10.0, 0.0)
    ends = left * np.exp(-0.5 * ((X_MM - 17.875) / 3.0) ** 2)
    ends = ends + right * np.exp(-0.5 * ((X_MM - 42.125) / 3.0) ** 2)
    around = 9.4 * np.linspace(-0.125, 0.125, 5)
    means = [np.interp(at + around, X_MM, ends).mean() for at in (17.875, 42.125)]
    expected = abs(20.0 * np.log10(means[0] / means[1]))
    assert cross.scatter_end_ratio_db(make_view(box, ends)) == pytest.approx(expected, abs=1e-6)


def test_end_ratio_is_held_by_the_noise_where_scatter_is_flat(
    make_view: Callable[..., IndicationView],
) -> None:
    assert cross.scatter_end_ratio_db(make_view(BOX, np.zeros_like(BOX))) == 0.0


@pytest.mark.parametrize("echo", [0.5, 3.0, 20.0])
def test_quadrature_ratio_finds_the_echo_that_numpy_added_at_right_angles(
    echo: float, make_view: Callable[..., IndicationView]
) -> None:
    shape = np.exp(-0.5 * ((X_MM - 30.0) / 4.0) ** 2)
    total = np.abs(7.0 + 1j * echo * shape)
    view = make_view(total - 7.0, 0.5 * echo * shape)
    assert cross.quadrature_ratio_db(view) == pytest.approx(20.0 * np.log10(2.0), abs=1e-6)


def test_quadrature_ratio_of_a_flat_seam_is_that_of_the_noise(
    make_view: Callable[..., IndicationView],
) -> None:
    expected = 20.0 * np.log10(np.sqrt(1e-3 * (1e-3 + 14.0)) / 1e-3)
    assert cross.quadrature_ratio_db(make_view(FLAT, FLAT)) == pytest.approx(min(expected, 30.0))

"""The detection curve as a whole: what it gives, and what it honestly refuses."""

from __future__ import annotations

import time

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit

from seamtell.pipeline.acceptance.detection import DetectionCurve, Doubt, Link, fit_detection
from seamtell.pipeline.errors import BadInput


def drawn(seed: int, n: int, top: float = 1.0, low: float = 0.1, high: float = 10.0):
    rng = np.random.default_rng(seed)
    size = np.exp(rng.uniform(np.log(low), np.log(high), n))
    return size, rng.random(n) < top * expit(3.0 * np.log(size))


def doubts(curve: DetectionCurve) -> dict[Doubt, bool]:
    return {one.doubt: one.refusal for one in curve.concerns}


@pytest.fixture(scope="module")
def good() -> DetectionCurve:
    return fit_detection(*drawn(1, 200))


def test_a50_and_a90_are_those_of_statsmodels(good: DetectionCurve) -> None:
    # Outside reference: statsmodels GLM; a50 = exp(-b0 / b1), a90 = exp((ln 9 - b0) / b1).
    size, hit = drawn(1, 200)
    b0, b1 = (
        sm.GLM(hit * 1.0, sm.add_constant(np.log(size)), family=sm.families.Binomial()).fit(tol=1e-12).params
    )
    assert good.a50_mm == pytest.approx(np.exp(-b0 / b1), rel=1e-6)
    assert good.a90_mm == pytest.approx(np.exp((np.log(9) - b0) / b1), rel=1e-6)


def test_enough_flaws_over_a_wide_range_raise_no_concern(good: DetectionCurve) -> None:
    assert good.concerns == ()
    assert not good.refused
    assert good.a50_mm < good.a90_mm < good.a90_95_mm


def test_curve_and_bound_stand_at_the_same_sizes(good: DetectionCurve) -> None:
    assert good.sizes_mm.shape == good.pod.shape == good.pod_low.shape
    assert (good.pod_low < good.pod).all()
    assert np.interp(np.log(good.a90_95_mm), np.log(good.sizes_mm), good.pod_low) == pytest.approx(
        0.9, abs=5e-3
    )


def test_another_unit_of_size_moves_the_sizes_and_nothing_else(good: DetectionCurve) -> None:
    size, hit = drawn(1, 200)
    scaled = fit_detection(size * 1000, hit)
    assert scaled.a90_95_mm == pytest.approx(1000 * good.a90_95_mm, rel=1e-5)
    np.testing.assert_allclose(scaled.pod_low, good.pod_low, atol=1e-6)


@pytest.mark.parametrize("link", Link)
def test_separation_is_fitted_with_the_penalised_likelihood_and_says_so(link: Link) -> None:
    size = np.geomspace(0.1, 10.0, 70)
    curve = fit_detection(size, size > 1.0, link)
    assert curve.penalised
    assert doubts(curve)[Doubt.SEPARATION] is False
    assert any("Firth" in one.text for one in curve.concerns)
    assert curve.a90_95_mm > curve.a90_mm > 1.0


def test_no_misses_are_a_refusal_that_asks_for_small_flaws() -> None:
    curve = fit_detection(np.linspace(1, 5, 60), np.ones(60, dtype=bool))
    assert doubts(curve) == {Doubt.NO_MISSES: True}
    assert "small enough" in curve.concerns[0].text
    assert curve.refused
    assert curve.a90_95_mm is None
    assert curve.pod.size == 0


def test_no_hits_are_a_refusal() -> None:
    curve = fit_detection(np.linspace(1, 5, 60), np.zeros(60, dtype=bool))
    assert doubts(curve) == {Doubt.NO_HITS: True}


def test_four_flaws_are_too_few() -> None:
    assert doubts(fit_detection(np.arange(1.0, 5.0), np.array([0, 1, 0, 1]))) == {Doubt.TOO_FEW: True}


def test_no_flaw_at_all_is_too_few() -> None:
    assert doubts(fit_detection(np.zeros(0), np.zeros(0, dtype=bool))) == {Doubt.TOO_FEW: True}


def test_one_size_is_a_refusal() -> None:
    assert doubts(fit_detection(np.full(9, 2.0), np.arange(9) % 2 == 0)) == {Doubt.ONE_SIZE: True}


@pytest.mark.parametrize("n", [12, 80])
def test_detection_that_falls_with_size_is_a_refusal(n: int) -> None:
    size, hit = drawn(2, n)
    curve = fit_detection(size, ~hit)
    assert doubts(curve) == {Doubt.FALLING: True}
    assert curve.refused


def test_detection_that_hardly_depends_on_size_is_doubted() -> None:
    size = np.geomspace(0.5, 5.0, 80)
    hit = np.arange(80) % 2 == 0
    hit[-2] = hit[-4] = True
    hit[-1] = True
    curve = fit_detection(size, hit)
    assert doubts(curve)[Doubt.WEAK_SLOPE] is False


def test_fewer_than_sixty_sized_flaws_are_a_warning() -> None:
    assert doubts(fit_detection(*drawn(3, 59)))[Doubt.FEW_FLAWS] is False
    assert Doubt.FEW_FLAWS not in doubts(fit_detection(*drawn(3, 60)))


def test_a_range_without_small_flaws_is_a_warning() -> None:
    found = doubts(fit_detection(*drawn(4, 200, low=0.8)))
    assert found[Doubt.NO_SMALL_FLAWS] is False
    assert Doubt.NO_LARGE_FLAWS not in found


def test_a_range_without_large_flaws_is_a_warning_and_gives_no_size_beyond_it() -> None:
    curve = fit_detection(*drawn(5, 200, high=1.2))
    found = doubts(curve)
    assert found[Doubt.NO_LARGE_FLAWS] is False
    assert found[Doubt.OUTSIDE_SIZES] is True
    assert found[Doubt.BOUND_NOT_REACHED] is True
    assert curve.a90_mm is None
    assert curve.a90_95_mm is None
    assert curve.a50_mm is not None


def test_large_flaws_missed_now_and_then_take_the_curve_away() -> None:
    curve = fit_detection(*drawn(6, 300, top=0.8))
    assert doubts(curve) == {Doubt.ASYMPTOTE: True}
    assert curve.refused
    assert curve.asymptote == pytest.approx(0.8, abs=0.08)
    assert curve.asymptote_p < 0.05
    assert "levels off at about 0." in curve.concerns[0].text


def test_a_curve_that_does_not_go_with_its_points_is_a_warning() -> None:
    size = np.geomspace(0.1, 10.0, 300)
    steps = np.select([size < 0.2, size < 2.5], [0.0, 0.45], 1.0)
    hit = np.random.default_rng(8).random(300) < steps
    curve = fit_detection(size, hit)
    assert curve.fit_p < 0.05
    assert doubts(curve)[Doubt.POOR_FIT] is False


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_a_size_that_is_none_is_an_error(bad: float) -> None:
    size, hit = drawn(7, 20)
    size[3] = bad
    with pytest.raises(BadInput, match="not a finite number above zero"):
        fit_detection(size, hit)


def test_sizes_and_outcomes_of_different_number_are_an_error() -> None:
    with pytest.raises(BadInput, match="expected as many"):
        fit_detection(np.ones(3), np.ones(4, dtype=bool))


@pytest.mark.parametrize("link", Link)
def test_a_curve_takes_less_than_half_a_second_of_one_core(link: Link) -> None:
    size, hit = drawn(9, 200)
    fit_detection(size, hit, link)
    began = time.process_time()
    fit_detection(size, hit, link)
    assert time.process_time() - began < 0.5

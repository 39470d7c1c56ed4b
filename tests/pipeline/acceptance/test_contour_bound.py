"""The bound of the penalised fit against a plain grid over intercept and slope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import norm

from seamtell.pipeline.acceptance.contour_bound import trace_contour
from seamtell.pipeline.acceptance.hit_miss_likelihood import HitMissData, Link, fit_hit_miss

SIZES = np.array([0.2, 0.3, 0.4, 0.5, 1.0, 2.0, 3.0, 4.0])
GAP = HitMissData(np.log(SIZES), SIZES > 0.45)
LOW, HIGH = 0.25, 3.0


def grid_bounds(link: Link, at_mm: np.ndarray) -> np.ndarray:
    """Lowest curve within 1.353 of the best on a grid; half the 90 % quantile of chi-squared, 1 df."""
    x = GAP.log_size
    middle = float(np.log(np.sqrt(0.4 * 0.5)))
    slopes = np.linspace(0.05, 14.0, 400)
    etas = np.linspace(-7.0, 7.0, 561)
    eta = etas[None, :, None] + slopes[:, None, None] * (x - middle)
    p = np.clip(expit(eta) if link is Link.LOGIT else norm.cdf(eta), 1e-300, 1 - 1e-16)
    density = p * (1 - p) if link is Link.LOGIT else norm.pdf(eta)
    weight = density**2 / (p * (1 - p))
    sums = [(weight * x**k).sum(axis=2) for k in range(3)]
    with np.errstate(divide="ignore"):
        penalty = 0.5 * np.log(np.maximum(sums[0] * sums[2] - sums[1] ** 2, 0.0))
    value = np.log(np.where(GAP.hit, p, 1 - p)).sum(axis=2) + penalty
    rows, columns = np.nonzero(value >= value.max() - 2.70554 / 2)
    lowest = [(etas[columns] + slopes[rows] * (np.log(a) - middle)).min() for a in at_mm]
    return expit(np.array(lowest)) if link is Link.LOGIT else norm.cdf(lowest)


@pytest.mark.parametrize("link", Link)
def test_the_bound_is_the_lowest_curve_of_a_grid(link: Link) -> None:
    # Naive twin: likelihood and penalty written out; among these sizes the penalised profile has two tops
    # (near 0.33 mm), on the lower of which a climb from the best slope ends.
    at = np.array([LOW, 0.31, 0.33, 0.5, 1.0, HIGH])
    fit = fit_hit_miss(GAP, link, penalised=True)
    ours = trace_contour(GAP, fit, 0.95).lower_bounds(np.log(at))
    np.testing.assert_allclose(ours, grid_bounds(link, at), atol=0.012)


@pytest.mark.parametrize("link", Link)
def test_the_size_of_the_bound_is_where_the_bound_has_that_pod(link: Link) -> None:
    many = HitMissData(np.tile(GAP.log_size, 6), np.tile(GAP.hit, 6))
    contour = trace_contour(many, fit_hit_miss(many, link, penalised=True), 0.95)
    size = contour.size_at_bound(0.9, (0.2, 4.0))
    assert size is not None
    assert contour.lower_bounds(np.log([size]))[0] == pytest.approx(0.9, abs=1e-9)


def test_a_bound_beyond_the_flaws_cut_is_not_given_and_one_below_is_the_smallest() -> None:
    many = HitMissData(np.tile(GAP.log_size, 6), np.tile(GAP.hit, 6))
    contour = trace_contour(many, fit_hit_miss(many, Link.LOGIT, penalised=True), 0.95)
    assert contour.size_at_bound(0.9, (0.2, 0.5)) is None
    assert contour.size_at_bound(0.9, (2.0, 4.0)) == pytest.approx(2.0)


def test_few_separated_flaws_that_go_with_a_flat_curve_give_no_size() -> None:
    few = HitMissData(np.log([1.0, 1.1, 1.2, 1.3, 1.4]), np.array([0, 1, 1, 1, 1], dtype=bool))
    contour = trace_contour(few, fit_hit_miss(few, Link.LOGIT, penalised=True), 0.95)
    assert (contour.slopes <= 0).any()
    assert contour.size_at_bound(0.9, (1.0, 1e300)) is None


@pytest.mark.parametrize("link", Link)
def test_the_bound_lies_below_the_curve(link: Link) -> None:
    fit = fit_hit_miss(GAP, link, penalised=True)
    x = np.log(np.geomspace(0.2, 4.0, 40))
    eta = fit.intercept + fit.slope * x
    curve = expit(eta) if link is Link.LOGIT else norm.cdf(eta)
    assert (trace_contour(GAP, fit, 0.95).lower_bounds(x) < curve).all()

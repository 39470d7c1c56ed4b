"""The one-sided bound of the plain fit against statsmodels, enumeration and a grid contour."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit
from scipy.stats import norm
from statsmodels.discrete.discrete_model import Logit, Probit

from seamtell.pipeline.acceptance.detection_bound import lower_bounds, signed_roots, size_at_bound
from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    HitMissData,
    HitMissFit,
    Link,
    fit_hit_miss,
    linear_predictor,
    probability,
)

ONE_SIDED_95 = 1.6448536269514722


def drawn(seed: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    log_size = rng.uniform(np.log(0.2), np.log(5.0), n)
    return log_size, rng.random(n) < expit(0.3 + 3.0 * log_size)


def fitted(seed: int, n: int, link: Link) -> tuple[HitMissData, HitMissFit]:
    data = HitMissData(*drawn(seed, n))
    return data, fit_hit_miss(data, link, penalised=False)


def glm_held(data: HitMissData, link: Link, log_size: float, eta: float):
    """Statsmodels with the curve held to `eta` at one size: an offset, and the slope alone."""
    name = sm.families.links.Logit if link is Link.LOGIT else sm.families.links.Probit
    family = sm.families.Binomial(link=name())
    offset = np.full(len(data.hit), eta)
    model = sm.GLM(data.hit.astype(float), data.log_size - log_size, family=family, offset=offset)
    return model.fit(tol=1e-12, maxiter=300)


@pytest.mark.parametrize("link", Link)
@pytest.mark.parametrize(("log_size", "eta"), [(0.8, 0.5), (0.2, -0.7), (-1.0, -4.0), (1.5, 2.0), (0.0, 1.5)])
def test_the_plain_root_is_the_likelihood_ratio_of_statsmodels(
    link: Link, log_size: float, eta: float
) -> None:
    # Outside reference: statsmodels GLM, free and with an offset.
    data, fit = fitted(11, 50, link)
    held = glm_held(data, link, log_size, eta)
    root = signed_roots(data, fit, np.array([log_size]), np.array([eta]), corrected=False)[0]
    assert root**2 == pytest.approx(2 * (fit.log_likelihood - held.llf), abs=1e-7)
    assert np.sign(root) == np.sign(fit.at(log_size) - eta)


@pytest.mark.parametrize(("log_size", "eta"), [(0.8, 0.5), (0.2, -0.7), (-1.0, -4.0), (1.5, 2.0), (0.0, 1.5)])
def test_the_corrected_root_of_the_logit_is_that_of_barndorff_nielsen(log_size: float, eta: float) -> None:
    # Outside reference: r* = r + log(q / r) / r with q = (psi_hat - psi) * sqrt(|j| / j_slope(held)),
    # of a canonical exponential family (Barndorff-Nielsen 1986), by Hessians of statsmodels.
    data, fit = fitted(12, 30, Link.LOGIT)
    design = np.stack([np.ones(30), data.log_size - log_size], axis=1)
    free = sm.GLM(data.hit.astype(float), design, family=sm.families.Binomial()).fit(tol=1e-12)
    held = glm_held(data, Link.LOGIT, log_size, eta)
    information = -free.model.hessian(free.params)
    nuisance = -held.model.hessian(held.params)[0, 0]
    q = (free.params[0] - eta) * np.sqrt(np.linalg.det(information) / nuisance)
    r = np.sign(q) * np.sqrt(2 * (free.llf - held.llf))
    ours = signed_roots(data, fit, np.array([log_size]), np.array([eta]))[0]
    assert ours == pytest.approx(r + np.log(q / r) / r, abs=1e-6)


@pytest.mark.parametrize("link", Link)
def test_the_correction_is_skovgaards_with_covariances_from_every_possible_outcome(link: Link) -> None:
    # Outside reference: the covariances of Skovgaard (1996) as plain sums over all 2^9 outcomes, scores
    # and Hessians from statsmodels' discrete models.
    log_size = np.log([0.3, 0.5, 0.7, 0.9, 1.1, 1.4, 2.0, 3.0, 4.0])
    hit = np.array([0, 0, 1, 0, 1, 0, 1, 1, 1], dtype=bool)
    at, eta = 0.5, -0.4
    data = HitMissData(log_size, hit)
    fit = fit_hit_miss(data, link, penalised=False)
    design = np.stack([np.ones(9), log_size - at], axis=1)
    model = Logit if link is Link.LOGIT else Probit
    free = np.array([fit.at(at), fit.slope])
    held = np.array([eta, glm_held(data, link, at, eta).params[0]])
    weights, scores_free, scores_held, drops = [], [], [], []
    p = probability(link, design @ free)
    for outcome in itertools.product([0.0, 1.0], repeat=9):
        y = np.array(outcome)
        one = model(y, design)
        weights.append(np.prod(np.where(y > 0, p, 1 - p)))
        scores_free.append(one.score(free))
        scores_held.append(one.score(held))
        drops.append(one.loglike(free) - one.loglike(held))
    w, u, v, d = (np.array(a) for a in (weights, scores_free, scores_held, drops))
    expected, crossed, q = (u.T * w) @ u, (u.T * w) @ v, (u.T * w) @ (d - w @ d)
    seen = model(hit.astype(float), design)
    root_information = np.sqrt(np.linalg.det(-seen.hessian(free)) / -seen.hessian(held)[1, 1])
    statistic = np.linalg.solve(crossed, q)[0] * root_information
    statistic *= np.linalg.det(crossed) / np.linalg.det(expected)
    r = np.sign(free[0] - eta) * np.sqrt(2 * (seen.loglike(free) - seen.loglike(held)))
    ours = signed_roots(data, fit, np.array([at]), np.array([eta]))[0]
    assert abs(ours - r) > 0.02
    assert ours == pytest.approx(r + np.log(statistic / r) / r, abs=1e-6)


@pytest.mark.parametrize("link", Link)
@pytest.mark.parametrize("size_mm", [0.6, 1.2, 3.0])
def test_the_plain_bound_is_the_lowest_curve_of_a_contour_on_a_grid(link: Link, size_mm: float) -> None:
    # Naive twin: every curve of a fine grid whose log-likelihood is within 1.353 of the best one, that is
    # half the 90 % quantile of chi-squared with one degree of freedom, 2.706 (any table).
    data, fit = fitted(14, 60, link)
    x = np.log(size_mm)
    cdf = norm.logcdf if link is Link.PROBIT else lambda e: -np.logaddexp(0, -e)
    slopes = np.linspace(0.0, 4 * fit.slope, 161)
    etas = np.linspace(fit.at(x) - 5, fit.at(x), 501)
    lowest = np.inf
    for slope in slopes:
        eta = etas[:, None] + slope * (data.log_size - x)
        value = cdf(np.where(data.hit, eta, -eta)).sum(axis=1)
        within = etas[value >= fit.log_likelihood - 2.70554 / 2]
        lowest = min(lowest, within.min()) if len(within) else lowest
    root = signed_roots(data, fit, np.array([x]), np.array([lowest]), corrected=False)[0]
    assert root == pytest.approx(ONE_SIDED_95, abs=0.04)


@pytest.mark.parametrize("link", Link)
def test_at_the_lower_bound_the_corrected_root_is_the_normal_quantile(link: Link) -> None:
    data, fit = fitted(14, 60, link)
    x = np.log(np.geomspace(0.7, 5.0, 25))
    low = lower_bounds(data, fit, x, 0.95)
    eta = np.array([linear_predictor(link, p) for p in low])
    np.testing.assert_allclose(signed_roots(data, fit, x, eta), ONE_SIDED_95, atol=1e-5)
    assert (low < probability(link, fit.intercept + fit.slope * x)).all()


@pytest.mark.parametrize("link", Link)
def test_the_size_of_the_bound_is_where_the_bound_has_that_pod(link: Link) -> None:
    data, fit = fitted(15, 120, link)
    size = size_at_bound(data, fit, 0.9, 0.95, (0.2, 5.0))
    assert size is not None
    assert lower_bounds(data, fit, np.log([size]), 0.95)[0] == pytest.approx(0.9, abs=1e-5)
    assert lower_bounds(data, fit, np.log([size * 1.01]), 0.95)[0] > 0.9


def test_a_bound_that_lies_beyond_the_flaws_cut_is_not_given() -> None:
    data, fit = fitted(15, 120, Link.LOGIT)
    size = size_at_bound(data, fit, 0.9, 0.95, (0.2, 5.0))
    assert size is not None
    assert size_at_bound(data, fit, 0.9, 0.95, (0.2, size * 0.99)) is None


def test_a_bound_below_the_flaws_cut_is_the_smallest_of_them() -> None:
    data, fit = fitted(15, 120, Link.LOGIT)
    assert size_at_bound(data, fit, 0.9, 0.95, (4.0, 5.0)) == pytest.approx(4.0)


@pytest.mark.parametrize("link", Link)
def test_more_confidence_lowers_the_bound(link: Link) -> None:
    data, fit = fitted(16, 60, link)
    x = np.log([1.0, 2.0, 4.0])
    at = [lower_bounds(data, fit, x, confidence) for confidence in (0.8, 0.9, 0.95, 0.99)]
    assert all((more < less).all() for less, more in itertools.pairwise(at))


def test_many_flaws_make_the_correction_vanish() -> None:
    # Theory: r* - r is of order n^(-1/2).
    gaps = []
    for n in (40, 4000):
        data, fit = fitted(17, n, Link.PROBIT)
        x = np.array([0.5])
        eta = x * fit.slope + fit.intercept - 6 / np.sqrt(n)
        gaps.append(
            abs(
                float((signed_roots(data, fit, x, eta) - signed_roots(data, fit, x, eta, corrected=False))[0])
            )
        )
    assert gaps[1] < gaps[0] / 3

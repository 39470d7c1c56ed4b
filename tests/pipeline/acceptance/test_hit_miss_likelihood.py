"""The hit/miss likelihood against statsmodels, closed forms and a search over a grid."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize_scalar
from scipy.special import expit
from scipy.stats import norm

from seamtell.pipeline.acceptance.hit_miss_likelihood import (
    HitMissData,
    Link,
    derivatives,
    fit_hit_miss,
    linear_predictor,
    log_likelihood,
    probability,
    separated,
)

STATSMODELS_LINK = {Link.LOGIT: sm.families.links.Logit, Link.PROBIT: sm.families.links.Probit}
GAP = HitMissData(np.log([0.2, 0.3, 0.4, 0.5, 1.0, 2.0, 3.0]), np.array([0, 0, 0, 1, 1, 1, 1], dtype=bool))


def drawn(seed: int, n: int, slope: float = 3.0) -> HitMissData:
    rng = np.random.default_rng(seed)
    log_size = rng.uniform(np.log(0.2), np.log(5.0), n)
    return HitMissData(log_size, rng.random(n) < expit(0.3 + slope * log_size))


def glm(data: HitMissData, link: Link):
    family = sm.families.Binomial(link=STATSMODELS_LINK[link]())
    model = sm.GLM(data.hit.astype(float), sm.add_constant(data.log_size), family=family)
    return model.fit(tol=1e-12, maxiter=200)


@pytest.mark.parametrize("link", Link)
@pytest.mark.parametrize(("seed", "n"), [(1, 25), (2, 60), (3, 200), (4, 1000)])
def test_the_plain_fit_is_that_of_statsmodels(link: Link, seed: int, n: int) -> None:
    # Outside reference: statsmodels GLM, binomial family: coefficients, log-likelihood, deviance.
    data = drawn(seed, n)
    ours, theirs = fit_hit_miss(data, link, penalised=False), glm(data, link)
    assert ours.converged
    assert [ours.intercept, ours.slope] == pytest.approx(theirs.params.tolist(), rel=1e-6, abs=1e-7)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-9)
    assert -2 * ours.log_likelihood == pytest.approx(theirs.deviance, abs=1e-8)


@pytest.mark.parametrize("link", Link)
def test_the_information_is_the_observed_one_of_statsmodels(link: Link) -> None:
    # Outside reference: Hessian of statsmodels GLM.
    data = drawn(5, 40)
    theirs = glm(data, link)
    eta = theirs.params[0] + theirs.params[1] * data.log_size
    design = np.stack([np.ones_like(eta), data.log_size])
    ours = (design * derivatives(link, eta, data.hit).information) @ design.T
    hessian = theirs.model.hessian(theirs.params, scale=1.0, observed=True)
    np.testing.assert_allclose(ours, -hessian, rtol=1e-7)


@pytest.mark.parametrize("hits", [(0, 6), (1, 6), (2, 5)])
def test_the_penalised_logit_of_two_sizes_adds_half_a_hit_and_half_a_miss(hits: tuple[int, int]) -> None:
    # Closed form: with as many parameters as sizes Firth's logit gives (k + 1/2) / (n + 1) at each
    # (Firth 1993, section 4: Haldane's and Anscombe's log-odds).
    n = 6
    outcome = np.concatenate([np.arange(n) < k for k in hits])
    data = HitMissData(np.repeat(np.log([1.0, 2.0]), n), outcome)
    fit = fit_hit_miss(data, Link.LOGIT, penalised=True)
    at = probability(Link.LOGIT, np.array([fit.at(0.0), fit.at(np.log(2.0))]))
    assert at == pytest.approx([(k + 0.5) / (n + 1) for k in hits], abs=1e-8)


@pytest.mark.parametrize("hits", [(0, 6), (1, 6), (2, 5)])
def test_the_penalised_probit_of_two_sizes_is_the_mode_of_each_size_alone(hits: tuple[int, int]) -> None:
    # Outside reference: scipy's bounded search of the one-size likelihood times the root of its information.
    n = 6
    outcome = np.concatenate([np.arange(n) < k for k in hits])
    data = HitMissData(np.repeat(np.log([1.0, 2.0]), n), outcome)
    fit = fit_hit_miss(data, Link.PROBIT, penalised=True)
    for k, eta in zip(hits, (fit.at(0.0), fit.at(np.log(2.0))), strict=True):

        def loss(eta: float, k: int = k) -> float:
            hit, miss = norm.logcdf(eta), norm.logcdf(-eta)
            return -(k * hit + (n - k) * miss + 0.5 * (2 * norm.logpdf(eta) - hit - miss))

        best = minimize_scalar(loss, bounds=(-8, 8), method="bounded", options={"xatol": 1e-10}).x
        assert eta == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("link", Link)
def test_the_penalised_fit_of_separated_data_is_the_best_of_a_grid(link: Link) -> None:
    # Naive twin: log-likelihood and log-determinant written out with scipy.stats and numpy.linalg.
    fit = fit_hit_miss(GAP, link, penalised=True)
    cdf = norm.cdf if link is Link.PROBIT else expit

    def value(intercept: float, slope: float) -> float:
        eta = intercept + slope * GAP.log_size
        p = cdf(eta)
        density = norm.pdf(eta) if link is Link.PROBIT else p * (1 - p)
        design = np.stack([np.ones_like(eta), GAP.log_size])
        information = (design * density**2 / (p * (1 - p))) @ design.T
        likelihood = np.log(np.where(GAP.hit, p, 1 - p)).sum()
        return float(likelihood + 0.5 * np.linalg.slogdet(information)[1])

    assert fit.converged
    assert fit.log_likelihood == pytest.approx(value(fit.intercept, fit.slope), abs=1e-10)
    around = np.linspace(-1.5, 1.5, 61)
    heights = [[value(fit.intercept + a, fit.slope + b) for b in around] for a in around]
    assert max(max(row) for row in heights) <= fit.log_likelihood + 1e-9
    assert heights[30][30] == pytest.approx(fit.log_likelihood, abs=1e-9)


@pytest.mark.parametrize("link", Link)
def test_the_penalty_of_many_flaws_hardly_moves_the_curve(link: Link) -> None:
    # Theory: the penalty is of order one, the likelihood of order n.
    data = drawn(6, 5000)
    plain, penalised = (fit_hit_miss(data, link, penalised=p) for p in (False, True))
    assert penalised.slope == pytest.approx(plain.slope, rel=2e-3)
    assert penalised.slope < plain.slope


def test_the_slope_scales_with_the_unit_of_log_size_and_not_with_the_unit_of_size() -> None:
    data = drawn(7, 80)
    inches = HitMissData(data.log_size - np.log(25.4), data.hit)
    for penalised in (False, True):
        one, other = (fit_hit_miss(d, Link.LOGIT, penalised=penalised) for d in (data, inches))
        assert other.slope == pytest.approx(one.slope, rel=1e-8)
        assert other.at(0.5 - np.log(25.4)) == pytest.approx(one.at(0.5), abs=1e-7)


@pytest.mark.parametrize(
    ("hit", "expected"),
    [
        ([0, 0, 1, 1], True),
        ([1, 1, 0, 0], True),
        ([0, 1, 0, 1], False),
        ([1, 0, 1, 0], False),
        ([0, 0, 0, 0], True),
        ([1, 1, 1, 1], True),
    ],
)
def test_separation_is_seen(hit: list[int], expected: bool) -> None:
    assert separated(HitMissData(np.log([1.0, 2.0, 3.0, 4.0]), np.array(hit, dtype=bool))) is expected


def test_one_shared_size_is_separation_still() -> None:
    # Albert and Anderson (1984), quasi-complete separation: the plain likelihood has no finite maximum.
    tied = HitMissData(np.log([1.0, 2.0, 2.0, 3.0]), np.array([0, 0, 1, 1], dtype=bool))
    assert separated(tied)
    at = [log_likelihood(tied, Link.LOGIT, -s * np.log(2.0), s, penalised=False) for s in (5.0, 20.0, 80.0)]
    assert at[0] < at[1] < at[2] < 2 * np.log(0.5) + 1e-9


@pytest.mark.parametrize("link", Link)
@pytest.mark.parametrize("pod", [0.001, 0.1, 0.5, 0.9, 0.999])
def test_the_linear_predictor_undoes_the_probability(link: Link, pod: float) -> None:
    assert float(probability(link, np.array(linear_predictor(link, pod)))) == pytest.approx(pod, rel=1e-12)

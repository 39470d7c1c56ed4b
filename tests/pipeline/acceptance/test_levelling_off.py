"""The three-parameter check against a search of its own and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import check_grad, minimize
from scipy.special import expit, ndtr
from scipy.stats import chi2

from seamtell.pipeline.acceptance.hit_miss_likelihood import HitMissData, Link, fit_hit_miss
from seamtell.pipeline.acceptance.levelling_off import _loss, asymptote


def drawn(seed: int, n: int, top: float, link: Link = Link.LOGIT) -> HitMissData:
    rng = np.random.default_rng(seed)
    x = rng.uniform(-3.5, 3.5, n)
    curve = expit(1.5 * x) if link is Link.LOGIT else ndtr(x)
    return HitMissData(x, rng.random(n) < top * curve)


@pytest.mark.parametrize("link", Link)
def test_the_asymptote_is_that_of_a_plain_search(link: Link) -> None:
    # Outside reference: scipy's Nelder-Mead on the likelihood written out.
    data = drawn(1, 300, 0.8, link)
    fit = fit_hit_miss(data, link, penalised=False)
    cdf = expit if link is Link.LOGIT else ndtr

    def loss(point: np.ndarray) -> float:
        p = np.clip(point[2] * cdf(point[0] + point[1] * data.log_size), 1e-12, 1 - 1e-12)
        return -float(np.log(np.where(data.hit, p, 1 - p)).sum()) if 0 < point[2] <= 1 else 1e9

    options = {"maxiter": 4000, "xatol": 1e-8, "fatol": 1e-10}
    theirs = minimize(loss, [0.0, 1.0, 0.8], method="Nelder-Mead", options=options)
    ours = asymptote(data, fit)
    assert ours.top == pytest.approx(theirs.x[2], abs=1e-3)
    ratio = 2 * (-theirs.fun - fit.log_likelihood)
    assert ours.p == pytest.approx(0.5 * chi2.sf(ratio, 1), rel=1e-3)


@pytest.mark.parametrize("link", Link)
def test_the_gradient_is_that_of_differences(link: Link) -> None:
    # Outside reference: scipy check_grad.
    data = drawn(2, 50, 0.9, link)
    at = np.array([0.3, 1.2, 1.8])
    error = check_grad(
        lambda p: _loss(p, data.log_size, data, link)[0], lambda p: _loss(p, data.log_size, data, link)[1], at
    )
    assert error < 1e-4


def test_detection_that_stops_at_four_in_five_is_seen() -> None:
    data = drawn(3, 200, 0.8)
    found = asymptote(data, fit_hit_miss(data, Link.LOGIT, penalised=False))
    assert found.p < 0.01
    assert 0.7 < found.top < 0.9


def test_detection_that_reaches_one_is_seldom_called_levelling_off() -> None:
    # Theory (Self and Liang 1987): one alarm in twenty at the five percent level, with many flaws.
    alarms = 0
    for seed in range(120):
        data = drawn(100 + seed, 100, 1.0)
        alarms += asymptote(data, fit_hit_miss(data, Link.LOGIT, penalised=False)).p < 0.05
    assert alarms <= 14

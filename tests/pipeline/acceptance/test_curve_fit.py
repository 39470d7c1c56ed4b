"""Goodness of fit against statsmodels and by simulation; the test of the slope against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit
from scipy.stats import chi2, norm
from statsmodels.stats.diagnostic_gen import test_chisquare_binning as binning_test

from seamtell.pipeline.acceptance.curve_fit import goodness_of_fit_p, slope_p
from seamtell.pipeline.acceptance.hit_miss_likelihood import HitMissData, Link, fit_hit_miss

binning_test.__test__ = False


def drawn(rng: np.random.Generator, n: int, slope: float = 1.0) -> HitMissData:
    x = rng.uniform(-2.0, 2.0, n)
    return HitMissData(x, rng.random(n) < expit(0.2 + slope * x))


def test_without_merging_it_is_hosmer_and_lemeshows_test_of_statsmodels() -> None:
    # Outside reference: statsmodels test_chisquare_binning with ten equal groups (no group is thin here).
    data = drawn(np.random.default_rng(1), 400)
    fit = fit_hit_miss(data, Link.LOGIT, penalised=False)
    fitted = expit(fit.intercept + fit.slope * data.log_size)
    order = np.argsort(fitted)
    seen = np.stack([1.0 - data.hit, data.hit], axis=1)
    expected = np.stack([1 - fitted, fitted], axis=1)
    theirs = binning_test(seen, expected, sort_var=fitted, bins=10, df=8, sort_method="stable")
    assert len(order) % 10 == 0
    assert goodness_of_fit_p(data, fit) == pytest.approx(float(theirs.pvalue), abs=1e-9)


def test_good_curves_are_seldom_called_bad() -> None:
    # Theory: under the model the p-value is near to uniform; sizes run from POD 3 % to 97 %.
    rng = np.random.default_rng(2)
    found = []
    for _ in range(300):
        x = rng.uniform(-3.48, 3.48, 80)
        data = HitMissData(x, rng.random(80) < expit(x))
        found.append(goodness_of_fit_p(data, fit_hit_miss(data, Link.LOGIT, penalised=False)))
    alarms = np.mean([p is not None and p < 0.05 for p in found])
    assert 0.01 <= alarms <= 0.09


def test_a_curve_that_rises_and_falls_is_called_bad() -> None:
    rng = np.random.default_rng(3)
    x = rng.uniform(-3, 3, 300)
    data = HitMissData(x, rng.random(300) < np.where(np.abs(x - 0.5) < 1.2, 0.9, 0.15))
    p = goodness_of_fit_p(data, fit_hit_miss(data, Link.LOGIT, penalised=False))
    assert p is not None
    assert p < 0.001


def test_too_few_flaws_or_too_few_surprises_give_no_test() -> None:
    few = drawn(np.random.default_rng(4), 29)
    assert goodness_of_fit_p(few, fit_hit_miss(few, Link.LOGIT, penalised=False)) is None
    x = np.linspace(-10, 10, 60)
    sharp = HitMissData(x, (x > 0) != (np.abs(x) < 0.2))
    assert goodness_of_fit_p(sharp, fit_hit_miss(sharp, Link.LOGIT, penalised=False)) is None


@pytest.mark.parametrize("slope", [1.0, 0.1, -0.5])
def test_the_test_of_the_slope_is_the_likelihood_ratio_of_statsmodels(slope: float) -> None:
    # Outside reference: statsmodels Logit, two-sided likelihood-ratio p-value (llr_pvalue).
    data = drawn(np.random.default_rng(5), 60, slope)
    theirs = sm.Logit(data.hit.astype(float), sm.add_constant(data.log_size)).fit(disp=0)
    ours = slope_p(data, fit_hit_miss(data, Link.LOGIT, penalised=False))
    two_sided = float(theirs.llr_pvalue)
    assert ours == pytest.approx(two_sided / 2 if theirs.params[1] > 0 else 1 - two_sided / 2, abs=1e-6)
    assert chi2.sf(norm.isf(ours) ** 2, 1) == pytest.approx(two_sided, abs=1e-6)

"""The ratio of a flaw's rates in two periods, against statsmodels and against planted truths."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.rates import confint_poisson_2indep

from seamtell.pipeline.flaw_mix.confusion_draws import ConfusionDraws, Design, SectionCounts, draw_confusion
from seamtell.pipeline.flaw_mix.contrasts import rate_ratio
from seamtell.pipeline.flaw_mix.corrected import GroupCounts, draw_group
from seamtell.pipeline.flaw_mix.judged_sections import TRUTHS
from seamtell.pipeline.flaw_mix.making import rates_per_metre

CLASSES = len(TRUTHS)


def ratio(
    later: np.ndarray, earlier: np.ndarray, metres: tuple[float, float], confusion: ConfusionDraws, seed: int
) -> tuple[float, float, float]:
    """Ratio of the first class's rates, from the answers of two periods."""
    rng = np.random.default_rng(seed)
    rates = [
        rates_per_metre(draw_group(GroupCounts(answers, 1000, own), confusion, rng), own, TRUTHS[:1])[:, 0]
        for answers, own in zip((later, earlier), metres, strict=True)
    ]
    return rate_ratio(*rates, 0.95)


@pytest.mark.parametrize(("first", "second"), [(40, 25), (200, 180), (90, 160)])
def test_with_a_classifier_without_error_it_is_the_ratio_of_two_poisson_rates(first, second):
    # statsmodels.stats.rates.confint_poisson_2indep, score interval of the logarithm
    found = np.diag(np.full(CLASSES, 10**7))
    found = np.hstack([found, np.zeros((CLASSES, 1), np.int64)])
    sections = SectionCounts(
        found, found.sum(axis=0).astype(float), np.arange(CLASSES + 1), CLASSES + 1, Design.RANDOM
    )
    confusion = draw_confusion(sections, 20_000, np.random.default_rng(1))
    answers = [np.array([n, *[300] * (CLASSES - 1), 0]) for n in (first, second)]
    middle, low, high = ratio(answers[0], answers[1], (310.0, 250.0), confusion, 2)
    expected = confint_poisson_2indep(first, 310.0, second, 250.0, method="score-log", compare="ratio")
    assert (low, high) == pytest.approx(expected, rel=0.04)
    assert middle == pytest.approx(first / 310.0 / (second / 250.0), rel=0.03)


@pytest.mark.coverage
def test_its_interval_holds_the_planted_ratio_about_as_often_as_it_says():
    rng, shops, inside, raw_inside = np.random.default_rng(7), 60, 0, 0
    answer_given_truth = np.full((CLASSES, CLASSES + 1), 0.05) + np.eye(CLASSES, CLASSES + 1) * 0.70
    mixes = np.array([0.4, 0.15, 0.1, 0.15, 0.2]), np.array([0.1, 0.25, 0.2, 0.25, 0.2])
    for shop in range(shops):
        truth = rng.choice(CLASSES, 400)
        found = np.zeros((CLASSES, CLASSES + 1), np.int64)
        for one in truth:
            found[one, rng.choice(CLASSES + 1, p=answer_given_truth[one])] += 1
        sections = SectionCounts(
            found, found.sum(axis=0).astype(float), np.arange(CLASSES + 1), CLASSES + 1, Design.RANDOM
        )
        confusion = draw_confusion(sections, 600, rng)
        later, earlier = (rng.multinomial(rng.poisson(900), mix @ answer_given_truth) for mix in mixes)
        _, low, high = ratio(later, earlier, (300.0, 300.0), confusion, shop)
        inside += low <= 4.0 <= high
        spread = 1.96 * np.sqrt(1 / later[0] + 1 / earlier[0])
        raw_inside += abs(np.log(later[0] / earlier[0] / 4.0)) < spread
    least, most = binom.interval(0.999, shops, 0.95)
    assert least <= inside <= most
    # The labels as they stand see less of a change than there is.
    assert raw_inside < 0.7 * shops

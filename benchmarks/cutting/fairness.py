"""Whether weighed planned cuts give the true shares, and what the same cuts give unweighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutting.campaign import ask_of, known_of
from cutting.passing import Standing
from cutting.population import Population
from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.worth import worth_of
from seamtell.pipeline.evaluation.intervals import clopper_pearson

__all__ = ["Fairness", "fairness_of_plans"]

_LABELS = tuple(flaw.value for flaw in Flaw)


@dataclass(frozen=True, eq=False)
class Fairness:
    """Plans drawn anew and anew from the same indications.

    Parameters
    ----------
    truth : array of shape (5,)
        Share of each class among the indications, in the order of `Flaw`.
    totals : array of shape (draws, 5)
        Shares by weights of one over the probability, over the known number: Horvitz-Thompson,
        unbiased for any number of cuts.
    weighed : array of shape (draws, 5)
        Shares as the program estimates them: a ratio, which is nearly unbiased.
    plain : array of shape (draws, 5)
        The same cuts, every one counted once.
    covered : bool array of shape (draws, 5)
        Whether the exact interval of the effective number holds the truth.
    """

    truth: NDArray[np.float64]
    totals: NDArray[np.float64]
    weighed: NDArray[np.float64]
    plain: NDArray[np.float64]
    covered: NDArray[np.bool_]


def fairness_of_plans(
    population: Population, cut: NDArray[np.int64], now: Standing, *, n: int, draws: int, seed: int
) -> Fairness:
    """Draw the next plan `draws` times over and estimate the shares of what could be cut."""
    seams = population.rows["seam_id"].to_numpy(str)
    free = np.flatnonzero(~np.isin(seams, seams[cut]))
    looks = population.looks(free)
    worth = worth_of(ask_of(population, free, now), known_of(population, cut, now)).total
    is_class = np.array([population.truths[free] == label for label in _LABELS])
    truth = is_class.mean(axis=1)
    totals, weighed, plain, covered = [], [], [], []
    for draw in range(draws):
        choice = choose_indications(looks, worth, n, np.random.default_rng([seed, draw]))
        met, probability = is_class[:, choice.chosen], choice.probabilities[choice.chosen]
        weights = drawn_weights(np.full(n, "indication"), probability)
        effective = float(weights.sum())
        shares = (met * weights).sum(axis=1) / effective
        totals.append((met / probability).sum(axis=1) / len(free))
        weighed.append(shares)
        plain.append(met.mean(axis=1))
        bounds = [clopper_pearson(min(float(k), effective), effective) for k in (met * weights).sum(axis=1)]
        covered.append([low <= true <= high for (low, high), true in zip(bounds, truth, strict=True)])
    return Fairness(truth, np.array(totals), np.array(weighed), np.array(plain), np.array(covered))

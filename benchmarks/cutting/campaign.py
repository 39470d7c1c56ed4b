"""One campaign: cut in rounds until the criteria hold, planned or at random."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from cutting.passing import Standing, standing
from cutting.population import Population
from seamtell.features.contracts import Flaw
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.class_needs import need_from_counts, need_from_criteria
from seamtell.pipeline.cutting.worth import LENGTH_BANDS_MM, Ask, Known, length_band, worth_of
from seamtell.pipeline.sign_off.criteria import Criteria

__all__ = ["Arm", "Ended", "Setup", "ask_of", "first_cuts", "known_of", "run_campaign"]

BEAM_WIDTH_MM = 9.4


class Arm(StrEnum):
    """How the places are chosen; both spend the same share of the budget on the random audit."""

    PLANNED = "planned"
    RANDOM = "random"
    """Any indication with the same chance, one a seam."""


@dataclass(frozen=True)
class Setup:
    """How a campaign runs.

    Parameters
    ----------
    first : int
        Sections before the first plan, at random indications; the same in both arms.
    batch : int
        Sections of each plan.
    audit_share : float
        Of each plan, spent on random places along the seams.
    most : int
        The campaign gives up after so many sections.
    """

    first: int = 60
    batch: int = 30
    audit_share: float = 0.2
    most: int = 480


@dataclass(frozen=True)
class Ended:
    """How a campaign ended.

    Parameters
    ----------
    arm : str
    seed : int
    sections : int
        Cut in all, the first ones and the audit included.
    passed : bool
        False: given up, or nothing was left to cut.
    last_failed : tuple of str
        Criteria that did not hold one round before the end.
    by_class : dict of str to int
        Labelled indications in the end.
    """

    arm: str
    seed: int
    sections: int
    passed: bool
    last_failed: tuple[str, ...]
    by_class: dict[str, int]


def run_campaign(population: Population, arm: Arm, seed: int, criteria: Criteria, setup: Setup) -> Ended:
    """Cut until every criterion holds."""
    cut = first_cuts(population, seed, setup.first)
    rng = np.random.default_rng([seed, 1])
    spent = setup.first
    now = standing(population, cut, criteria)
    failed = now.failed
    while not now.passed and spent < setup.most:
        failed = now.failed
        free = _free(population, cut)
        if len(np.unique(population.rows["seam_id"].to_numpy(str)[free])) < setup.batch:
            break
        audit = round(setup.batch * setup.audit_share)
        met = _audit(population, free, audit, rng)
        drawn = _chosen(population, arm, free, cut, now, setup.batch - audit, rng)
        cut = np.unique(np.concatenate([cut, met, drawn]))
        spent += setup.batch
        now = standing(population, cut, criteria)
    labels = Counter(population.truths[cut].tolist())
    return Ended(arm.value, seed, spent, now.passed, failed, dict(sorted(labels.items())))


def first_cuts(population: Population, seed: int, n: int) -> NDArray[np.int64]:
    """Sections before the first plan, at random indications, one a seam."""
    rng = np.random.default_rng([seed, 0])
    return _one_a_seam(population, np.arange(len(population)), n, rng)


def _one_a_seam(
    population: Population, free: NDArray[np.int64], n: int, rng: np.random.Generator
) -> NDArray[np.int64]:
    order = rng.permutation(free)
    seams = population.rows["seam_id"].to_numpy(str)[order]
    return np.sort(order[np.sort(np.unique(seams, return_index=True)[1])[:n]])


def _free(population: Population, cut: NDArray[np.int64]) -> NDArray[np.int64]:
    """Indications on seams that are whole."""
    seams = population.rows["seam_id"].to_numpy(str)
    return np.flatnonzero(~np.isin(seams, seams[cut]))


def _audit(
    population: Population, free: NDArray[np.int64], n: int, rng: np.random.Generator
) -> NDArray[np.int64]:
    """Indications that cuts at random along all seams happen to meet: few."""
    points = rng.random(n) * population.seams_mm
    ends = np.cumsum(population.extents_mm[free])
    met = np.searchsorted(ends, points[points < ends[-1]], side="right")
    return free[np.unique(met)]


def _chosen(
    population: Population,
    arm: Arm,
    free: NDArray[np.int64],
    cut: NDArray[np.int64],
    now: Standing,
    n: int,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    if arm is Arm.RANDOM:
        return _one_a_seam(population, free, n, rng)
    worth = worth_of(ask_of(population, free, now), known_of(population, cut, now))
    return free[choose_indications(population.looks(free), worth.total, n, rng).chosen]


def ask_of(population: Population, which: NDArray[np.int64], now: Standing) -> Ask:
    """What the program would know of the indications: the answers of the model taught so far."""
    rows = population.rows.iloc[which]
    probabilities = np.full((len(which), len(Flaw)), np.nan)
    novelty = np.full(len(which), np.nan)
    if now.model is not None:
        answers = now.model.answer(population.values[which], rows["recipe"].tolist())
        columns = [[flaw.value for flaw in Flaw].index(name) for name in answers.classes]
        told = np.isfinite(answers.probabilities).all(axis=1)
        probabilities[told] = 0.0
        probabilities[np.ix_(told, columns)] = answers.probabilities[told]
        novelty = answers.novelty_p
    return Ask(
        probabilities=probabilities,
        novelty_p=novelty,
        length_mm=np.maximum(population.extents_mm[which] - BEAM_WIDTH_MM, 0.0),
        strata=(rows["line"] + " / " + rows["recipe"]).to_numpy(str),
    )


def known_of(population: Population, cut: NDArray[np.int64], now: Standing) -> Known:
    """What the sections so far cover."""
    rows = population.rows.iloc[cut]
    lengths = rows["flaw_length_mm"].to_numpy(float)
    band = length_band(np.nan_to_num(lengths))
    by_band = np.zeros((len(Flaw), len(LENGTH_BANDS_MM) + 1), dtype=np.int64)
    for place, flaw in enumerate(Flaw):
        sized = (rows["truth"] == flaw.value).to_numpy(bool) & np.isfinite(lengths)
        by_band[place] = np.bincount(band[sized], minlength=by_band.shape[1])
    need = need_from_counts(rows["truth"].value_counts().to_dict())
    return Known(
        need=np.maximum(need, need_from_criteria(now.asked)),
        by_stratum=(rows["line"] + " / " + rows["recipe"]).value_counts().to_dict(),
        by_band=by_band,
    )

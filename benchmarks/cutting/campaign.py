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
from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
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
    ALONG = "along"
    """Any place along all seams with the same chance: what purpose ``random`` means in a section table."""


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
    seen : int
        Indications that each plan chooses from.
    """

    first: int = 60
    batch: int = 30
    audit_share: float = 0.2
    most: int = 420
    seen: int = 1000


@dataclass(frozen=True)
class Ended:
    """How a campaign ended.

    Parameters
    ----------
    arm : str
    seed : int
    sections : int
        Cut in all, the first ones and the audit included, until all held with weighed sections.
    passed : bool
        False: given up, or too little was left to cut.
    as_counted : int
        Until all held with every section counted once, as the program counts.
    passed_as_counted : bool
    last_failed : tuple of str
        Criteria that did not hold one round before the end.
    by_class : dict of str to int
        Labelled indications in the end.
    flattery : float, optional
        At the pass as counted: recall of the labelled less its truth, see `_flattery`.
    """

    arm: str
    seed: int
    sections: int
    passed: bool
    as_counted: int
    passed_as_counted: bool
    last_failed: tuple[str, ...]
    by_class: dict[str, int]
    flattery: float | None


def run_campaign(population: Population, arm: Arm, seed: int, criteria: Criteria, setup: Setup) -> Ended:
    """Cut until every criterion holds, also with the sections weighed by how they were drawn."""
    cut = first_cuts(population, seed, setup.first)
    weights = np.ones(len(cut))
    rng = np.random.default_rng([seed, 1])
    spent = setup.first
    now = standing(population, cut, criteria, weights)
    as_counted: int | None = None
    failed: tuple[str, ...] = ()
    flattery = None
    while True:
        if now.passed and as_counted is None:
            as_counted, flattery = spent, _flattery(population, cut, now)
        # Along the seams hardly a cut meets an indication: that arm gives up by those that did.
        if now.passed_weighed or (len(cut) if arm is Arm.ALONG else spent) >= setup.most:
            break
        failed = (*now.failed, *(f"{name} (weighed)" for name in now.weighed_failed if now.passed))
        free = _free(population, cut)
        if len(np.unique(population.rows["seam_id"].to_numpy(str)[free])) < setup.batch:
            break
        # A shop cuts few of many; the plan sees as many as it can, drawn with equal chance.
        free = np.sort(rng.permutation(free)[: setup.seen])
        audit = round(setup.batch * setup.audit_share)
        if arm is Arm.ALONG:
            drawn, misses = _along(population, free, setup.batch, rng)
            cut, weights = np.concatenate([cut, drawn]), np.concatenate([weights, np.ones(len(drawn))])
            spent += len(drawn) + misses
            now = standing(population, cut, criteria, weights)
            continue
        met = _audit(population, free, audit, rng)
        drawn, drawn_with = _chosen(population, arm, free, cut, now, setup.batch - audit, rng)
        fresh = ~np.isin(met, drawn)
        cut = np.concatenate([cut, met[fresh], drawn])
        # An equal weight for the few that the audit met: it did not look at them.
        weights = np.concatenate([weights, np.ones(int(fresh.sum())), drawn_with])
        spent += setup.batch
        now = standing(population, cut, criteria, weights)
    labels = Counter(population.truths[cut].tolist())
    return Ended(
        arm.value,
        seed,
        spent,
        now.passed_weighed,
        spent if as_counted is None else as_counted,
        as_counted is not None,
        failed,
        dict(sorted(labels.items())),
        flattery,
    )


def _flattery(population: Population, cut: NDArray[np.int64], now: Standing) -> float:
    """Recall of the labelled as counted, less what it is on everything that was not cut; mean over flaws."""
    free = _free(population, cut)
    assert now.model is not None
    answers = now.model.answer(population.values[free], population.rows["recipe"].iloc[free].tolist())
    labels, truths = np.array(answers.labels, dtype=str), population.truths[free]
    told = np.isin(labels, [flaw.value for flaw in Flaw])
    gaps = []
    for one in now.asked:
        figure, label = one.outcome.figure, one.outcome.label
        here = told & (truths == label)
        if one.outcome.criterion.id == "right_when_it_speaks" and figure.estimate is not None and here.any():
            gaps.append(figure.estimate - float((labels[here] == label).mean()))
    return float(np.mean(gaps))


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


def _along(
    population: Population, free: NDArray[np.int64], n: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], int]:
    """The next `n` indications that cuts at random along the seams meet, and how many cuts meet none."""
    extents = population.extents_mm[free]
    drawn = rng.choice(free, size=n, replace=False, p=extents / extents.sum())
    share = float(population.extents_mm.sum() / population.seams_mm)
    return drawn, int(rng.negative_binomial(n, share))


def _chosen(
    population: Population,
    arm: Arm,
    free: NDArray[np.int64],
    cut: NDArray[np.int64],
    now: Standing,
    n: int,
    rng: np.random.Generator,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Indications to cut and their weights."""
    if arm is Arm.RANDOM:
        return _one_a_seam(population, free, n, rng), np.ones(n)
    worth = worth_of(ask_of(population, free, now), known_of(population, cut, now))
    choice = choose_indications(population.looks(free), worth.total, n, rng)
    weights = drawn_weights(np.full(n, "indication"), choice.probabilities[choice.chosen])
    return free[choice.chosen], weights


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

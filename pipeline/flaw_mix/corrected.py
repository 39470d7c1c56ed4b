"""Shares and rates of the flaws of one group of seams, corrected, as draws and as figures.

The likelihood under a moved mix (label shift) is used wherever every class has sections
enough to say how it is answered. A class with fewer has no corrected share: its own row of
the confusion matrix is unknown. Then the sections still bound it, provided the mix is that
of the sections' period: what they found behind each answer, times how often production
gave that answer.

Flaws come in runs: a bad coil has many. The counts therefore weigh as many as they are
worth, their number over their dispersion between coils.

References
----------
McCullagh, P. and Nelder, J. A. (1989). Generalized Linear Models, 2nd ed., section 4.5
(over-dispersion from Pearson's statistic).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.intervals import clopper_pearson
from seamtell.pipeline.flaw_mix.confusion_draws import ConfusionDraws, SectionCounts, dirichlet_draws
from seamtell.pipeline.flaw_mix.simplex_fit import mix_on_simplex

__all__ = [
    "MIN_SECTIONS",
    "SETTLED_HALF_WIDTH",
    "Figure",
    "GroupCounts",
    "GroupDraws",
    "dispersion_of",
    "draw_group",
    "figure_of",
    "sections_wanted",
    "upper_bounds",
]

MIN_SECTIONS = 5
"""Below this many sections at indications the classifier's answers to a class are unknown."""
SETTLED_HALF_WIDTH = 0.10
"""A share whose interval is no wider than this to either side counts as settled."""


@dataclass(frozen=True, eq=False)
class GroupCounts:
    """What production showed in one group of seams.

    Parameters
    ----------
    answers : int array of shape (a,)
        Indications by answer.
    seams : int
    metres : float
        Inspected length.
    dispersion : float
        At least one: variance of the counts over that of independent indications.
    """

    answers: NDArray[np.int64]
    seams: int
    metres: float
    dispersion: float = 1.0

    @property
    def indications(self) -> int:
        """All of them."""
        return int(self.answers.sum())


@dataclass(frozen=True, eq=False)
class GroupDraws:
    """Draws for one group; row ``d`` of every group rests on the same draw of the confusion matrix.

    Parameters
    ----------
    mix : array of shape (draws, t)
        Shares of the truths among indications.
    indications : array of shape (draws,)
        Expected number of indications.
    point : array of shape (t,)
        Maximum-likelihood shares.
    """

    mix: NDArray[np.float64]
    indications: NDArray[np.float64]
    point: NDArray[np.float64]


@dataclass(frozen=True)
class Figure:
    """A figure with its interval; `estimate` lies in it."""

    estimate: float
    low: float
    high: float


def dispersion_of(by_coil: NDArray[np.int64]) -> float:
    """Pearson's statistic of the answers by coil over its degrees of freedom, at least one.

    Parameters
    ----------
    by_coil : int array of shape (coils, a)
    """
    table = by_coil[by_coil.sum(axis=1) > 0][:, by_coil.sum(axis=0) > 0]
    if min(table.shape) < 2:
        return 1.0
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum()
    freedom = (table.shape[0] - 1) * (table.shape[1] - 1)
    return float(max(1.0, ((table - expected) ** 2 / expected).sum() / freedom))


def draw_group(
    counts: GroupCounts, confusion: ConfusionDraws, rng: np.random.Generator, *, moved: bool = True
) -> GroupDraws:
    """Draw the corrected mix of one group.

    Parameters
    ----------
    counts : GroupCounts
    confusion : ConfusionDraws
    rng : numpy.random.Generator
    moved : bool
        Whether the mix may have moved since the sections; if not, P(truth | answer) is used.
    """
    draws = len(confusion.answer_given_truth)
    worth = counts.answers / counts.dispersion
    shown = dirichlet_draws(worth + 1.0 / len(worth), draws, rng)
    raw = counts.answers / max(1, counts.indications)
    if moved:
        mix = mix_on_simplex(confusion.answer_given_truth, shown)
        point = mix_on_simplex(confusion.point_answer_given_truth, raw)
    else:
        mix = np.einsum("dta,da->dt", confusion.truth_given_answer, shown)
        point = confusion.point_truth_given_answer @ raw
    number = rng.gamma(counts.indications / counts.dispersion + 0.5, size=draws) * counts.dispersion
    return GroupDraws(mix=mix, indications=number, point=point)


def figure_of(draws: NDArray[np.float64], point: float, level: float) -> Figure:
    """Interval of `level` from draws, wide enough to hold the point."""
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(draws, [tail, 1.0 - tail])
    return Figure(point, min(float(low), point), max(float(high), point))


def upper_bounds(sections: SectionCounts, counts: GroupCounts, level: float) -> NDArray[np.float64]:
    """Bound from above of each class's share among the indications, shape (t,).

    Holds for a mix like that of the sections' period; all answers at once by Bonferroni.
    """
    shown = counts.answers / max(1, counts.indications)
    # Below two-sided 1 - 2 e, the upper end alone fails with probability e.
    each = 1.0 - 2.0 * (1.0 - level) / len(shown)
    bounds, weighed = np.zeros(len(sections.found)), sections.weighed
    for answer in np.flatnonzero(shown):
        strata = np.flatnonzero(sections.answer_of == answer)
        weight = sections.production[strata]
        weight = weight / weight.sum() if weight.sum() > 0 else np.full(len(strata), 1.0 / len(strata))
        for stratum, part in zip(strata, weight, strict=True):
            n = float(weighed[:, stratum].sum())
            for truth in range(len(bounds)):
                k = float(weighed[truth, stratum])
                bounds[truth] += shown[answer] * part * (clopper_pearson(k, n, each)[1] if n else 1.0)
    return np.minimum(bounds, 1.0)


def sections_wanted(sections: int, half_width: float | None) -> int:
    """Further sections of a class at indications that would settle its share.

    An interval shrinks with the root of their number. Where there is no interval yet,
    the number that makes the correction possible.
    """
    if half_width is None:
        return max(1, MIN_SECTIONS - sections)
    if half_width <= SETTLED_HALF_WIDTH:
        return 0
    return math.ceil(sections * ((half_width / SETTLED_HALF_WIDTH) ** 2 - 1.0))

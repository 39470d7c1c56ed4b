"""How the classifier answers each truth, drawn from what the sections say.

Which probability the sections give depends on how they were chosen. Cuts at random among
the indications give ``P(answer | truth)`` directly. Cuts chosen by what the answer was (or by
whether the limit was exceeded) give ``P(truth | stratum)``; ``P(answer | truth)`` follows only
with the number of indications that production had in each stratum, which is the inverse of the
selection probability::

    P(truth, answer) = sum over strata of the answer: P(stratum) x P(truth | stratum)

Taking the rows of the section table as they stand would then give a classifier that is as
good as the shop's choice of cuts. Each unknown probability vector is drawn from its
Dirichlet posterior, so that few sections give wide intervals.

Sections that a plan drew weigh by the inverse of the probability with which it drew them, scaled
within their stratum to what they are worth (see ``acceptance.drawn_cuts``): a plan prefers what is
ambiguous or novel, and what is ambiguous is more often wrong.

What is assumed: among sections of no plan, within one stratum the choice did not depend on what
was behind the indication; the classifier answers a given truth alike in the period of the sections
and in production (see `behaviour`), while the mix itself may move.

References
----------
Begg, C. B. and Greenes, R. A. (1983). Assessment of diagnostic tests when disease
verification is subject to selection bias. Biometrics 39, 207-215.
Perks, W. (1947). Some observations on inverse probability. Journal of the Institute of
Actuaries 73, 285-334 (a prior that weighs one observation in all).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["ConfusionDraws", "Design", "SectionCounts", "dirichlet_draws", "draw_confusion"]

_PRIOR_TOTAL = 1.0


class Design(StrEnum):
    """How the sections at indications were chosen."""

    RANDOM = "random"
    """At random among the indications: the rows of the section table are right."""
    BY_STRATUM = "by_stratum"
    """By answer and by whether the limit was exceeded: only the columns are right."""

    @property
    def words(self) -> str:
        """What it lets the sections say."""
        if self is Design.RANDOM:
            return "sections drawn at random among the indications give P(answer | truth) directly"
        return (
            "sections chosen by answer or height give P(truth | answer) directly, and P(answer | truth) "
            "through how many indications production had of each kind"
        )


@dataclass(frozen=True, eq=False)
class SectionCounts:
    """Judged sections at indications, counted.

    Parameters
    ----------
    found : int array of shape (t, s)
        Sections with truth ``t`` in stratum ``s``.
    production : float array of shape (s,)
        Indications of each stratum in production of the sections' period.
    answer_of : int array of shape (s,)
        Answer that each stratum belongs to.
    answers : int
        Number of answers.
    design : Design
    """

    found: NDArray[np.int64]
    production: NDArray[np.float64]
    answer_of: NDArray[np.int64]
    answers: int
    design: Design
    worth: NDArray[np.float64] | None = None
    """Like `found`, each section with its weight; None where all weigh alike."""

    def __post_init__(self) -> None:
        strata = self.found.shape[1]
        if self.production.shape != (strata,) or self.answer_of.shape != (strata,):
            raise ValueError(
                f"got {strata} strata of sections, {len(self.production)} of production and "
                f"{len(self.answer_of)} answers, expected as many of each"
            )
        if (self.found < 0).any() or (self.production < 0).any():
            raise ValueError("got counts below zero")
        if self.worth is not None and not ((self.worth > 0) == (self.found > 0)).all():
            raise ValueError("got weights of no section, or sections of no weight")

    @property
    def sections(self) -> NDArray[np.int64]:
        """Sections of each truth, shape (t,)."""
        return np.asarray(self.found.sum(axis=1))

    @property
    def weighed(self) -> NDArray[np.float64]:
        """Sections of each truth in each stratum with their weights, shape (t, s)."""
        return self.found.astype(np.float64) if self.worth is None else self.worth

    @property
    def by_answer(self) -> NDArray[np.float64]:
        """Weighed sections of each truth and answer, shape (t, a)."""
        return self._folded(self.weighed)

    @property
    def uncut_share(self) -> float:
        """Share of production's indications in strata that no section speaks of."""
        total = float(self.production.sum())
        return float(self.production[self.found.sum(axis=0) == 0].sum()) / total if total else 1.0

    def _folded(self, by_stratum: NDArray[np.float64]) -> NDArray[np.float64]:
        folded = np.zeros((*by_stratum.shape[:-1], self.answers))
        for stratum, answer in enumerate(self.answer_of):
            folded[..., answer] += by_stratum[..., stratum]
        return folded


@dataclass(frozen=True, eq=False)
class ConfusionDraws:
    """Draws of the two ways to read the sections, and their plug-in values.

    Parameters
    ----------
    answer_given_truth : array of shape (draws, t, a)
    truth_given_answer : array of shape (draws, t, a)
        Columns sum to one; holds for a mix like that of the sections' period only.
    point_answer_given_truth : array of shape (t, a)
    point_truth_given_answer : array of shape (t, a)
    """

    answer_given_truth: NDArray[np.float64]
    truth_given_answer: NDArray[np.float64]
    point_answer_given_truth: NDArray[np.float64]
    point_truth_given_answer: NDArray[np.float64]


def draw_confusion(counts: SectionCounts, draws: int, rng: np.random.Generator) -> ConfusionDraws:
    """Draw the confusion matrix from what the sections say.

    Parameters
    ----------
    counts : SectionCounts
    draws : int
    rng : numpy.random.Generator
    """
    joint = _joint_draws(counts, draws, rng)
    point = _point_joint(counts)
    return ConfusionDraws(
        answer_given_truth=_rows(joint),
        truth_given_answer=_columns(joint),
        point_answer_given_truth=_rows(point),
        point_truth_given_answer=_columns(point),
    )


def dirichlet_draws(alpha: NDArray[np.float64], draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Draws along the last axis of `alpha`, shape (draws, *alpha.shape); any alpha above zero."""
    # The logarithm of a gamma of small shape is drawn: the gamma itself may round to zero.
    gamma = np.log(rng.standard_gamma(alpha + 1.0, size=(draws, *alpha.shape)))
    gamma += np.log(rng.random((draws, *alpha.shape))) / alpha
    gamma -= gamma.max(axis=-1, keepdims=True)
    weights = np.exp(gamma)
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


def _joint_draws(counts: SectionCounts, draws: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """P(truth, answer), shape (draws, t, a)."""
    truths, strata = counts.found.shape
    if counts.design is Design.RANDOM:
        table = counts.by_answer
        rows = dirichlet_draws(table + _PRIOR_TOTAL / counts.answers, draws, rng)
        shares = dirichlet_draws(table.sum(axis=1) + _PRIOR_TOTAL / truths, draws, rng)
        return np.asarray(rows * shares[..., None])
    within = dirichlet_draws(counts.weighed.T + _PRIOR_TOTAL / truths, draws, rng)  # (draws, s, t)
    shares = dirichlet_draws(counts.production + _PRIOR_TOTAL / strata, draws, rng)
    return counts._folded(np.swapaxes(within * shares[..., None], 1, 2))


def _point_joint(counts: SectionCounts) -> NDArray[np.float64]:
    if counts.design is Design.RANDOM:
        return counts.by_answer / max(1.0, float(counts.weighed.sum()))
    cut = counts.weighed.sum(axis=0)
    weight = np.divide(counts.production, cut, out=np.zeros(len(cut)), where=cut > 0)
    joint = counts._folded(counts.weighed * weight)
    return np.asarray(joint / max(joint.sum(), 1e-300))


def _rows(joint: NDArray[np.float64]) -> NDArray[np.float64]:
    total = joint.sum(axis=-1, keepdims=True)
    return np.where(total > 0, joint / np.where(total > 0, total, 1.0), 1.0 / joint.shape[-1])


def _columns(joint: NDArray[np.float64]) -> NDArray[np.float64]:
    total = joint.sum(axis=-2, keepdims=True)
    return np.where(total > 0, joint / np.where(total > 0, total, 1.0), 1.0 / joint.shape[-2])

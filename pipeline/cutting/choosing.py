"""From worth and looks to the indications that are cut, each with the probability it had.

1. A seam is worth its best indication, shared among all seams that look like it.
2. Seams get probabilities by worth; a cut takes one indication of its seam.
3. Near-copies whose probabilities add up to at most one form a group, of which at most one
   seam is drawn. Groups are drawn spread over what they look like.

So at most one cut falls on a seam, and near-copies are cut twice only where they are so many
that leaving them out would leave a part of production unseen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.cutting.drawing import EQUAL_SHARE, inclusion_probabilities, spread_draw
from seamtell.pipeline.cutting.near_copies import Looks, near_copy_groups

__all__ = ["Choice", "choose_indications"]

_EPS = 1e-9


@dataclass(frozen=True, eq=False)
class Choice:
    """What was drawn.

    Parameters
    ----------
    chosen : int array
        Indications to cut, by falling worth.
    probabilities : array of shape (m,)
        With which the design draws each indication, drawn or not; they add up to the number drawn.
    """

    chosen: NDArray[np.int64]
    probabilities: NDArray[np.float64]


def choose_indications(looks: Looks, worth: NDArray[np.float64], n: int, rng: np.random.Generator) -> Choice:
    """Draw `n` indications, at most one a seam.

    Parameters
    ----------
    looks : Looks
        Of m indications.
    worth : array of shape (m,)
        Zero or more.
    n : int
        At most the number of seams.
    rng : numpy.random.Generator

    Raises
    ------
    ValueError
        More cuts than seams.
    """
    if len(worth) == 0 or n == 0:
        return Choice(np.empty(0, dtype=np.int64), np.zeros(len(worth)))
    _, seam = np.unique(looks.seams, return_inverse=True)
    best = _best_of_each(seam, worth)
    alike = near_copy_groups(looks.rows(best), worth[best])
    of_seam = inclusion_probabilities(worth[best] / np.bincount(alike)[alike], n)
    within = _shares_within(seam, worth)
    drawn = _drawn_seams(looks.rows(best), alike, worth[best], of_seam, rng)
    chosen = np.array([_one_of(np.flatnonzero(seam == s), within, rng) for s in drawn], dtype=np.int64)
    order = np.argsort(-worth[chosen], kind="stable")
    return Choice(chosen[order], of_seam[seam] * within)


def _best_of_each(seam: NDArray[np.int64], worth: NDArray[np.float64]) -> NDArray[np.int64]:
    """Indication of most worth of each seam."""
    order = np.lexsort((-worth, seam))
    return order[np.unique(seam[order], return_index=True)[1]]


def _shares_within(seam: NDArray[np.int64], worth: NDArray[np.float64]) -> NDArray[np.float64]:
    """Probability of each indication once its seam is drawn."""
    count, total = np.bincount(seam), np.bincount(seam, weights=worth)
    by_worth = np.divide(worth, total[seam], out=1.0 / count[seam], where=total[seam] > 0)
    return EQUAL_SHARE / count[seam] + (1 - EQUAL_SHARE) * by_worth


def _drawn_seams(
    looks: Looks,
    alike: NDArray[np.int64],
    worth: NDArray[np.float64],
    of_seam: NDArray[np.float64],
    rng: np.random.Generator,
) -> list[int]:
    groups = _groups_to_draw(alike, worth, of_seam)
    leaders = looks.rows(np.array([members[0] for members in groups], dtype=np.int64))
    together = np.minimum([of_seam[members].sum() for members in groups], 1.0)
    drawn = spread_draw(together, leaders.distances, rng)
    picked = []
    for g in drawn.tolist():
        members = groups[g]
        picked.append(int(rng.choice(members, p=of_seam[members] / of_seam[members].sum())))
    return picked


def _groups_to_draw(
    alike: NDArray[np.int64], worth: NDArray[np.float64], of_seam: NDArray[np.float64]
) -> list[list[int]]:
    """Near-copies in groups whose probabilities add up to at most one, the best first in each."""
    groups: list[list[int]] = []
    open_group: dict[int, int] = {}
    filled: list[float] = []
    for i in np.argsort(-worth, kind="stable").tolist():
        place = open_group.get(int(alike[i]))
        if place is None or filled[place] + of_seam[i] > 1.0 + _EPS:
            place = open_group[int(alike[i])] = len(groups)
            groups.append([])
            filled.append(0.0)
        groups[place].append(i)
        filled[place] += float(of_seam[i])
    return groups


def _one_of(members: NDArray[np.int64], within: NDArray[np.float64], rng: np.random.Generator) -> int:
    shares = within[members]
    return int(rng.choice(members, p=shares / shares.sum()))

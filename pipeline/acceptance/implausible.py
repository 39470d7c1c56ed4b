"""Notice performance that is too good to be true.

A descriptor that carries the answer (a section result that found its way into the trace
data, a file name, a re-inspection flag) makes a model that is perfect here and worthless on
the line. Three signs are looked for: a result near perfect although the labels themselves are
wrong now and then; a result near perfect although sections with alike descriptors often differ
in class; one descriptor that alone tells the classes apart. A sign is a reason to look, not a
proof, and the absence of signs proves nothing.

References
----------
Cover, T. and Hart, P. (1967). Nearest neighbor pattern classification. IEEE Transactions on
Information Theory 13, 21-27 (what neighbours allow).
Kaufman, S., Rosset, S., Perlich, C. and Stitelman, O. (2012). Leakage in data mining:
formulation, detection, and avoidance. ACM Transactions on Knowledge Discovery from Data 6(4), 15.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.agreement import macro_f1
from seamtell.pipeline.evaluation.result import MISSED

__all__ = [
    "NEAR_PERFECT",
    "LoneDescriptor",
    "Told",
    "auc",
    "implausible_warnings",
    "label_error_of_agreement",
    "lone_descriptors",
    "neighbour_macro_f1",
]

NEAR_PERFECT = 0.97
"""Macro-F1 from which on a result is looked at twice."""
NEIGHBOUR_GAP = 0.10
"""So far beyond the neighbours' macro-F1 a near-perfect result is doubted."""
UNLIKELY = 0.01
"""Chance below which so many agreements with faulty labels are doubted."""
LEAST_SECTIONS = 20
"""Fewer sections can be all right by luck; also the least number in a class judged alone."""
PAIR_AUC, ONE_CLASS_AUC, ALONE_MACRO_F1 = 0.98, 0.999, 0.95
"""A lone descriptor is named from these on: weakest pair of classes, one class, neighbours in it alone."""
_MOST_ROWS = 600
_LEAST_IN_CLASS = 5


@dataclass(frozen=True, eq=False)
class Told:
    """Truths and forced labels of sections that the model did not train on; arrays of shape (n,)."""

    where: str
    """``held-out`` or ``cross-validated``."""
    truths: NDArray[np.str_]
    answers: NDArray[np.str_]


@dataclass(frozen=True)
class LoneDescriptor:
    """One descriptor that alone tells classes apart."""

    name: str
    label: str
    """The one class that it tells from all others; empty where it tells all classes apart."""
    auc: float
    """Of that class against the rest; else of the pair of classes that it separates least."""
    macro_f1: float
    """Of the nearest neighbour of another group in this descriptor alone."""


def auc(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Chance that a value of one sample is above one of the other, the better way round.

    Examples
    --------
    >>> auc(np.array([1.0, 2.0]), np.array([0.0, 0.5])), auc(np.array([1.0, 1.0]), np.array([1.0]))
    (1.0, 0.5)
    """
    from scipy.stats import rankdata

    n, m = len(first), len(second)
    ranks = rankdata(np.concatenate([first, second]))
    above = float(ranks[:n].sum() - n * (n + 1) / 2) / (n * m)
    return max(above, 1 - above)


def label_error_of_agreement(agreement: float) -> float:
    """Share of wrong labels when two examiners agree on a share `agreement` of the sections.

    Two equally good examiners who err independently, and hardly ever alike, agree on
    (1 - e)^2 of the sections.

    Examples
    --------
    >>> round(label_error_of_agreement(0.81), 10)
    0.1
    """
    if not 0 <= agreement <= 1:
        raise ValueError(f"got an agreement of {agreement}, expected a number between 0 and 1")
    return 1 - math.sqrt(agreement)


def _ranks(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns as ranks between 0 and 1; a missing value ranks below all others."""
    from scipy.stats import rankdata

    filled = np.where(np.isfinite(values), values, -np.inf)
    return np.asarray(rankdata(filled, axis=0) / max(1, len(values)))


def _macro_f1(truths: NDArray[np.str_], answers: NDArray[np.str_]) -> float:
    classes, rows = np.unique(truths, return_inverse=True)
    column = {name: i for i, name in enumerate(classes)}
    table = np.zeros((1, len(classes), len(classes) + 1))
    columns = [column.get(answer, len(classes)) for answer in answers]
    np.add.at(table[0], (rows, np.array(columns, dtype=np.int64)), 1.0)
    return float(macro_f1(table)[0])


def neighbour_macro_f1(
    values: NDArray[np.float64], truths: NDArray[np.str_], groups: NDArray[np.str_]
) -> float | None:
    """Macro-F1 of naming each section after its nearest neighbour of another group.

    Parameters
    ----------
    values : array of shape (n, d)
        Descriptors; compared by their ranks, all with equal weight.
    truths, groups : arrays of shape (n,)

    Returns
    -------
    float or None
        None with one group only.
    """
    if len(np.unique(groups)) < 2:
        return None
    ranks = _ranks(values)
    squares = np.sum(ranks**2, axis=1)
    distance = squares[:, None] + squares[None, :] - 2 * ranks @ ranks.T
    distance[groups[:, None] == groups[None, :]] = np.inf
    return _macro_f1(truths, truths[np.argmin(distance, axis=1)])


def _thinned(n: int) -> NDArray[np.int64]:
    """At most so many rows, evenly spread, as the distances of all pairs are wanted."""
    return np.unique(np.linspace(0, n - 1, min(n, _MOST_ROWS)).astype(np.int64))


def _judge(
    ranks: NDArray[np.float64], name: str, truths: NDArray[np.str_], groups: NDArray[np.str_]
) -> tuple[LoneDescriptor, ...]:
    """What one descriptor tells alone; `ranks` of shape (n,)."""
    every = [ranks[truths == label] for label in np.unique(truths)]
    classes = [one for one in every if len(one) >= _LEAST_IN_CLASS]
    alone = neighbour_macro_f1(ranks[:, None], truths, groups) or 0.0
    if len(classes) >= 3:
        weakest = min(auc(a, b) for i, a in enumerate(classes) for b in classes[i + 1 :])
        if weakest >= PAIR_AUC or alone >= ALONE_MACRO_F1:
            return (LoneDescriptor(name, "", weakest, alone),)
    found = []
    for label in np.unique(truths):
        of_class, rest = ranks[truths == label], ranks[truths != label]
        if min(len(of_class), len(rest)) >= LEAST_SECTIONS and (area := auc(of_class, rest)) >= ONE_CLASS_AUC:
            found.append(LoneDescriptor(name, str(label), area, alone))
    return tuple(found)


def lone_descriptors(
    values: NDArray[np.float64], names: Sequence[str], truths: NDArray[np.str_], groups: NDArray[np.str_]
) -> tuple[LoneDescriptor, ...]:
    """Descriptors that alone tell all classes apart, or one class from all others.

    Parameters
    ----------
    values : array of shape (n, d)
    names : sequence of str, length d
    truths, groups : arrays of shape (n,)
    """
    if len(truths) < LEAST_SECTIONS:
        return ()
    rows = _thinned(len(truths))
    ranks = _ranks(values[rows])
    found: list[LoneDescriptor] = []
    for place, name in enumerate(names):
        found.extend(_judge(ranks[:, place], name, truths[rows], groups[rows]))
    return tuple(found)


def _too_good(told: Told, label_error: float | None, neighbours: float | None) -> tuple[str, ...]:
    from scipy.stats import binom

    indicated = told.answers != MISSED
    truths, answers = told.truths[indicated], told.answers[indicated]
    n, right = len(truths), int((truths == answers).sum())
    if n < LEAST_SECTIONS or (score := _macro_f1(truths, answers)) < NEAR_PERFECT:
        return ()
    start = f"Implausibly good: {right} of {n} {told.where} sections labelled right (macro-F1 {score:.2f})"
    look = "Look for a descriptor that knows the answer before this model is approved."
    found = []
    if label_error:
        chance = float(binom.sf(right - 1, n, 1 - label_error))
        if chance < UNLIKELY:
            found.append(
                f"{start}, although {100 * label_error:.1f} % of the section labels are taken to be wrong: "
                f"even a perfect model would agree so often with a chance of {chance:.1g} only. {look}"
            )
    if neighbours is not None and score - neighbours > NEIGHBOUR_GAP:
        found.append(
            f"{start}, although sections with alike descriptors often differ in class "
            f"(nearest neighbour: macro-F1 {neighbours:.2f}). {look}"
        )
    return tuple(found)


def _lone_words(one: LoneDescriptor) -> str:
    look = "A descriptor does not do that by physics alone: find out where its values come from."
    if one.label:
        return (
            f"The descriptor '{one.name}' alone tells {one.label} from all other classes "
            f"(AUC {one.auc:.3f}). {look}"
        )
    return (
        f"The descriptor '{one.name}' alone tells all classes apart (AUC of the closest pair {one.auc:.3f}, "
        f"nearest neighbour macro-F1 {one.macro_f1:.2f}). {look}"
    )


def implausible_warnings(
    told: Sequence[Told],
    values: NDArray[np.float64],
    names: Sequence[str],
    truths: NDArray[np.str_],
    groups: NDArray[np.str_],
    *,
    label_error: float | None = None,
) -> tuple[str, ...]:
    """Warnings in sentences; empty where nothing looks too good.

    Parameters
    ----------
    told : sequence of Told
        The model's forced labels, by scope.
    values : array of shape (n, d)
        Descriptors of the labelled sections, as the model reads them.
    names : sequence of str, length d
    truths, groups : arrays of shape (n,)
        What these sections found, and their coils.
    label_error : float, optional
        Share of wrong section labels, stated or from `label_error_of_agreement`.
    """
    neighbours = None
    if len(truths):
        rows = _thinned(len(truths))
        neighbours = neighbour_macro_f1(values[rows], truths[rows], groups[rows])
    found = [words for one in told for words in _too_good(one, label_error, neighbours)]
    found.extend(_lone_words(one) for one in lone_descriptors(values, names, truths, groups))
    return tuple(found)

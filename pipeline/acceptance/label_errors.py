"""What the figures would be if a stated share of the section labels were wrong.

Two readings of "wrong", both through the table of truth against answer:

* *worst case*: the wrong labels sit where they do the most harm, or the most good. The
  lower bounds of recall and macro-F1 and both bounds of each recall are exact, found by
  trying every way to move that many sections between rows. The upper bound of macro-F1
  leaves out that a section taken from one row must suit the other, so it may lie a
  little too high, never too low.
* *at random*: each label was swapped for another one with the stated chance, without
  regard to the answer. The table that was seen is then the right one mixed by a known
  matrix, and undoing the mixing gives what is to be expected with right labels.

References
----------
Misclassification with known rates, undone by the inverse matrix: Kuha, J. and Skinner, C.
(1997), Categorical data analysis and misclassification (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.record import LabelErrorFigures
from seamtell.pipeline.evaluation.agreement import macro_f1
from seamtell.pipeline.evaluation.result import MISSED, ConfusionMatrix

__all__ = [
    "LABEL_ERROR_RATES",
    "RandomErrors",
    "WorstCase",
    "label_error_figures",
    "random_errors",
    "worst_case",
]

LABEL_ERROR_RATES: tuple[float, ...] = (0.01, 0.03, 0.05)

Table = NDArray[np.float64]


@dataclass(frozen=True)
class WorstCase:
    """Least and greatest figures with `wrong` labels wrong; recall is None without a section."""

    wrong: int
    macro_f1_low: float
    macro_f1_high: float
    recall_low: tuple[float | None, ...]
    recall_high: tuple[float | None, ...]


@dataclass(frozen=True)
class RandomErrors:
    """Expected figures with right labels, if wrong ones arose at random."""

    macro_f1: float
    recall: tuple[float | None, ...]


def worst_case(table: Table, wrong: int) -> WorstCase:
    """Bounds over every way to relabel at most `wrong` sections.

    Parameters
    ----------
    table : array of shape (k, m)
        Counts, truth in rows, answer in columns; the first k columns are the classes of
        the rows, further ones (no label, missed) are wrong for every class.
    wrong : int
        Number of wrong labels.

    Examples
    --------
    >>> bounds = worst_case(np.array([[9.0, 1.0], [2.0, 8.0]]), 1)
    >>> [round(recall, 3) for recall in bounds.recall_low], round(bounds.recall_high[0], 3)
    ([0.818, 0.727], 1.0)
    """
    if wrong < 0:
        raise ValueError(f"got {wrong} wrong labels, expected 0 or more")
    ranges = [_recall_range(table, i, wrong) for i in range(len(table))]
    return WorstCase(
        wrong=wrong,
        macro_f1_low=_extreme_macro_f1(table, wrong, greatest=False),
        macro_f1_high=_extreme_macro_f1(table, wrong, greatest=True),
        recall_low=tuple(low for low, _ in ranges),
        recall_high=tuple(high for _, high in ranges),
    )


def _recall_range(table: Table, i: int, wrong: int) -> tuple[float | None, float | None]:
    """Exact: sections leave the row or join it, answered right or not, in every mixture."""
    right, sections = table[i, i], table[i].sum()
    if sections == 0:
        return None, None
    joining_right = table[:, i].sum() - right
    joining_wrong = table.sum() - sections - joining_right
    low = high = right / sections
    for leave in range(wrong + 1):
        join = wrong - leave
        lost, added = min(leave, right), min(join, joining_wrong)
        if sections - lost + added > 0:
            low = min(low, (right - lost) / (sections - lost + added))
        dropped, gained = min(leave, sections - right), min(join, joining_right)
        if sections - dropped + gained > 0:
            high = max(high, (right + gained) / (sections - dropped + gained))
    return float(low), float(high)


@dataclass(frozen=True)
class _Move:
    """How many sections one class gives away and takes, and its F1 then."""

    out: int
    into: int
    f1: float


def _f1(right: float, true: float, called: float) -> float:
    return 2 * right / (true + called) if true + called > 0 else 0.0


def _lowering(table: Table, i: int, wrong: int) -> Iterator[_Move]:
    """Right sections leave the row, sections answered otherwise join it."""
    right, true, called = table[i, i], table[i].sum(), table[:, i].sum()
    joining = table.sum() - true - (called - right)
    for out in range(int(min(wrong, right)) + 1):
        # A section cannot move to its own row: what leaves here joins another.
        for into in range(int(min(wrong - out, joining)) + 1):
            yield _Move(out, into, _f1(right - out, true - out + into, called))


def _raising(table: Table, i: int, wrong: int) -> Iterator[_Move]:
    """Sections answered wrong leave the row; those answered so join it, then any others."""
    right, true, called = table[i, i], table[i].sum(), table[:, i].sum()
    for out in range(int(min(wrong, true - right)) + 1):
        for into in range(wrong - out + 1):
            gained = min(into, called - right)
            yield _Move(out, into, _f1(right + gained, true - out + into, called))


def _extreme_macro_f1(table: Table, wrong: int, *, greatest: bool) -> float:
    """Best total F1 with as many sections given as taken, by dynamic programming over the classes."""
    present = np.flatnonzero(table.sum(axis=1) > 0)
    if len(present) == 0:
        return math.nan
    sign = 1.0 if greatest else -1.0
    best = np.full((wrong + 1, wrong + 1), -np.inf)
    best[0, 0] = 0.0
    for i in present:
        after = np.full_like(best, -np.inf)
        for move in (_raising if greatest else _lowering)(table, int(i), wrong):
            rows, columns = wrong + 1 - move.out, wrong + 1 - move.into
            reached = best[:rows, :columns] + sign * move.f1
            here = after[move.out :, move.into :]
            np.maximum(here, reached, out=here)
        best = after
    return float(sign * np.diagonal(best).max() / len(present))


def random_errors(table: Table, label_error: float) -> RandomErrors:
    """Undo labels swapped at random, each with chance `label_error` for one of the other classes.

    Parameters
    ----------
    table : array of shape (k, m)
        As for `worst_case`.
    label_error : float
        Below (k - 1) / k; beyond, the labels would tell nothing.

    Notes
    -----
    Cells that come out below zero are set to zero.
    """
    k = len(table)
    if not 0 <= label_error < (k - 1) / k:
        raise ValueError(f"got a label error of {label_error}, expected 0 <= error < {(k - 1) / k:.2f}")
    mixing = np.full((k, k), label_error / (k - 1))
    np.fill_diagonal(mixing, 1.0 - label_error)
    right = np.clip(np.linalg.solve(mixing.T, table), 0.0, None)
    # A class without a section must not come to life by rounding.
    right[table.sum(axis=1) == 0] = 0.0
    sections = right.sum(axis=1)
    recall = tuple(float(right[i, i] / n) if n > 0 else None for i, n in enumerate(sections))
    return RandomErrors(float(macro_f1(right[None])[0]), recall)


def label_error_figures(
    matrix: ConfusionMatrix, rates: Sequence[float] = LABEL_ERROR_RATES
) -> tuple[LabelErrorFigures, ...]:
    """Bounds of macro-F1 and of every class's recall for each stated label error.

    Sound sections where nothing was indicated are no work of the classifier and stay
    out, as in the macro-F1 of the evaluation. The number of wrong labels is rounded up.
    Without any section there are no figures.
    """
    table = np.array(matrix.counts, dtype=np.float64)
    sound, missed = matrix.rows.index(Flaw.SOUND.value), matrix.columns.index(MISSED)
    table[sound, missed] = 0.0
    total = int(table.sum())
    # A hair off, so that 7 % of 100 is not 8 by rounding of the product.
    return tuple(
        _figures(matrix.rows, table, rate, math.ceil(rate * total - 1e-9)) for rate in rates if total
    )


def _figures(labels: tuple[str, ...], table: Table, rate: float, wrong: int) -> LabelErrorFigures:
    bounds, expected = worst_case(table, wrong), random_errors(table, rate)

    def named(values: tuple[float | None, ...]) -> dict[str, float]:
        return {label: value for label, value in zip(labels, values, strict=True) if value is not None}

    return LabelErrorFigures(
        label_error=rate,
        macro_f1_low=bounds.macro_f1_low,
        macro_f1_high=bounds.macro_f1_high,
        recall_low=named(bounds.recall_low),
        recall_high=named(bounds.recall_high),
        macro_f1_random=expected.macro_f1,
        recall_random=named(expected.recall),
    )

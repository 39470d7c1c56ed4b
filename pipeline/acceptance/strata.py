"""Figures by recipe, line, thickness pair, speed and period, and whether they differ.

A mean over all sections can hide a line on which the model fails. Each figure stands with
its n; a stratum with too few sections reads *too few*. With many strata some differ by luck:
each kind of stratum gets one test, and all tests are adjusted together (Holm).

The test is a permutation test on Pearson's chi-square. Sections of one group (coil) in one
stratum form a block that is never torn apart; the strata are dealt anew over the blocks. With
blocks of one section it is the exact conditional test, by Monte Carlo. Blocks of one coil in
several strata count as unrelated, which errs towards finding no difference.

References
----------
Phipson, B. and Smyth, G. K. (2010). Permutation p-values should never be zero. Statistical
Applications in Genetics and Molecular Biology 9(1), 39.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.record import Stratum, StratumTest
from seamtell.pipeline.acceptance.simultaneous import holm
from seamtell.pipeline.evaluation.answered import JUDGED
from seamtell.pipeline.evaluation.confusion import NOTHING_UNFLAGGED
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share, unknown
from seamtell.pipeline.evaluation.result import Estimate, Outcome

__all__ = [
    "MIN_SECTIONS",
    "TOO_FEW",
    "StrataRows",
    "StratumFigure",
    "StratumKind",
    "permutation_p",
    "strata_figures",
    "stratum_tests",
]

MIN_SECTIONS = 10
"""Below this many sections a stratum reads *too few*."""
TOO_FEW = "too few"

_INDICATED = (Outcome.RIGHT.value, Outcome.WRONG.value, Outcome.ABSTAINED.value)


class StratumKind(StrEnum):
    """What the sections are set apart by."""

    RECIPE = "recipe"
    LINE = "line"
    THICKNESS_PAIR = "thickness_pair"
    SPEED = "speed"
    PERIOD = "period"

    @property
    def plural(self) -> str:
        """Several of it, in words."""
        return {"thickness_pair": "thickness pairs", "speed": "speeds"}.get(self.value, f"{self.value}s")


class StratumFigure(StrEnum):
    """What is compared between strata."""

    RIGHT = "right"
    MISSED = "missed"
    ABSTAINED = "abstained"

    @property
    def words(self) -> str:
        """The share in words."""
        return {
            StratumFigure.RIGHT: "share labelled right",
            StratumFigure.MISSED: "share of flaws missed",
            StratumFigure.ABSTAINED: "share without a label",
        }[self]


@dataclass(frozen=True, eq=False)
class StrataRows:
    """Sections with what became of them; arrays of shape (n,).

    Parameters
    ----------
    truths, outcomes, groups : str arrays of shape (n,)
        Sections that are not judged (left out, shared) are passed over.
    by : mapping of StratumKind to str array of shape (n,)
        The stratum of each section; empty where it is not known, which is no stratum.
    """

    truths: NDArray[np.str_]
    outcomes: NDArray[np.str_]
    groups: NDArray[np.str_]
    by: Mapping[StratumKind, NDArray[np.str_]]

    def cases(self, figure: StratumFigure) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which sections count for a figure, and for which of all it holds; shape (n,) each."""
        if figure is StratumFigure.MISSED:
            flaws = np.isin(self.outcomes, JUDGED) & (self.truths != Flaw.SOUND.value)
            return flaws, self.outcomes == Outcome.MISSED.value
        return np.isin(self.outcomes, _INDICATED), self.outcomes == figure.value

    def could_miss(self, rows: NDArray[np.bool_]) -> bool:
        """Whether anything was cut where nothing was indicated; else no miss could be found."""
        return bool(np.isin(self.outcomes[rows], [Outcome.MISSED.value, Outcome.QUIET.value]).any())


def _figure(
    rows: StrataRows, here: NDArray[np.bool_], figure: StratumFigure, min_sections: int, level: float
) -> Estimate:
    counted, holds = rows.cases(figure)
    n = int((counted & here).sum())
    if n < min_sections:
        return unknown(TOO_FEW, n=n, level=level)
    if figure is StratumFigure.MISSED and not rows.could_miss(here):
        return unknown(NOTHING_UNFLAGGED, n=n, level=level)
    return share(int((counted & holds & here).sum()), n, level=level)


def strata_figures(
    rows: StrataRows, *, min_sections: int = MIN_SECTIONS, level: float = DEFAULT_LEVEL
) -> tuple[Stratum, ...]:
    """Figures of every stratum with their n and exact intervals, kinds in the order given."""
    judged = np.isin(rows.outcomes, JUDGED)
    found = []
    for kind, values in rows.by.items():
        for value in np.unique(values[judged & (values != "")]):
            here = judged & (values == value)
            right, missed, abstained = (
                _figure(rows, here, figure, min_sections, level) for figure in StratumFigure
            )
            found.append(
                Stratum(
                    by=kind.value,
                    value=str(value),
                    sections=int(here.sum()),
                    right=right,
                    missed=missed,
                    abstained=abstained,
                )
            )
    return tuple(found)


def _chi_square(
    held: NDArray[np.float64], counted: NDArray[np.float64], overall: float
) -> NDArray[np.float64]:
    """Pearson's chi-square of strata against yes and no; arrays of shape (draws, strata)."""
    expected = counted * overall
    spread = counted * overall * (1 - overall)
    return np.asarray(np.sum((held - expected) ** 2 / np.maximum(spread, 1e-300), axis=1))


def permutation_p(
    strata: NDArray[np.str_],
    holds: NDArray[np.bool_],
    groups: NDArray[np.str_],
    *,
    draws: int = 4999,
    seed: int = 1,
) -> float | None:
    """P-value that a share is the same in all strata; blocks of one group stay together.

    Parameters
    ----------
    strata, holds, groups : arrays of shape (n,)
    draws : int
        Permutations; the smallest p is 1 / (draws + 1).

    Returns
    -------
    float or None
        None where nothing varies: one stratum only, or all sections alike.
    """
    kinds, stratum = np.unique(strata, return_inverse=True)
    if len(kinds) < 2 or holds.all() or not holds.any():
        return None
    group = np.unique(groups, return_inverse=True)[1]
    blocks, block = np.unique(group * len(kinds) + stratum, return_inverse=True)
    of_block = blocks % len(kinds)
    held = np.bincount(block, weights=holds.astype(float), minlength=len(blocks))
    counted = np.bincount(block, minlength=len(blocks)).astype(float)
    rng = np.random.default_rng(seed)
    dealt = rng.permuted(np.tile(of_block, (draws, 1)), axis=1)
    dealt = np.vstack([of_block[None, :], dealt])
    by_stratum = [(dealt == j).astype(float) for j in range(len(kinds))]
    sums_held = np.column_stack([member @ held for member in by_stratum])
    sums_counted = np.column_stack([member @ counted for member in by_stratum])
    statistic = _chi_square(sums_held, sums_counted, float(holds.mean()))
    # Equal tables may differ in the last digit; they must count as equal.
    reached = int((statistic[1:] >= statistic[0] * (1 - 1e-9)).sum())
    return (reached + 1) / (draws + 1)


def _testable(rows: StrataRows, kind: StratumKind, figure: StratumFigure, least: int) -> NDArray[np.bool_]:
    """Sections of the strata that have enough sections, of at least two groups; shape (n,)."""
    values = rows.by[kind]
    counted, _ = rows.cases(figure)
    counted = counted & (values != "")
    keep = np.zeros(len(values), dtype=bool)
    for value in np.unique(values[counted]):
        here = counted & (values == value)
        seen = figure is not StratumFigure.MISSED or rows.could_miss(values == value)
        if here.sum() >= least and len(np.unique(rows.groups[here])) >= 2 and seen:
            keep |= here
    return keep


def _words(
    kind: StratumKind, figure: StratumFigure, strata: NDArray[np.str_], holds: NDArray[np.bool_], p: float
) -> str:
    shares = sorted((float(holds[strata == value].mean()), str(value)) for value in np.unique(strata))
    low, high = shares[0], shares[-1]
    between = (
        f"{low[0]:.2f} ({low[1]}, n = {(strata == low[1]).sum()}) and "
        f"{high[0]:.2f} ({high[1]}, n = {(strata == high[1]).sum()})"
    )
    if p < 0.05:
        return f"The {figure.words} differs between {kind.plural}, adjusted p = {p:.2g}: between {between}."
    return (
        f"No difference between {kind.plural} is shown in the {figure.words}, adjusted p = {p:.2g}; "
        f"it was between {between}. That does not prove them equal."
    )


def stratum_tests(
    rows: StrataRows, *, min_sections: int = MIN_SECTIONS, draws: int = 4999, seed: int = 1
) -> tuple[StratumTest, ...]:
    """One test for each kind of stratum and figure, all adjusted together by Holm."""
    asked = [(kind, figure) for kind in rows.by for figure in StratumFigure]
    kept = [_testable(rows, kind, figure, min_sections) for kind, figure in asked]
    p_values = []
    for (kind, figure), keep in zip(asked, kept, strict=True):
        holds = rows.cases(figure)[1]
        p_values.append(
            permutation_p(rows.by[kind][keep], holds[keep], rows.groups[keep], draws=draws, seed=seed)
        )
    tests = []
    for (kind, figure), keep, p, adjusted in zip(asked, kept, p_values, holm(p_values), strict=True):
        strata = rows.by[kind][keep]
        tests.append(
            StratumTest(
                by=kind.value,
                figure=figure.value,
                strata=len(np.unique(strata)),
                p=p,
                p_adjusted=adjusted,
                method=f"chi-square, {draws} permutations of whole coils; Holm over all tests",
                words=_no_test(kind, figure, strata)
                if adjusted is None
                else _words(kind, figure, strata, rows.cases(figure)[1][keep], adjusted),
            )
        )
    return tuple(tests)


def _no_test(kind: StratumKind, figure: StratumFigure, strata: NDArray[np.str_]) -> str:
    if len(np.unique(strata)) < 2:
        return f"The {figure.words} cannot be compared between {kind.plural}: too few sections."
    return f"The {figure.words} is the same for every section: nothing to compare between {kind.plural}."

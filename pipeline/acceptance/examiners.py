"""How well examiners agree on what a section shows, beyond what chance alone would give.

All figures are functions of sums over sections, so that their intervals come from
drawing whole sections with replacement. A perfect sample still gets an interval with
a width: see `grouped_bootstrap`.

References
----------
Cohen, J. (1960). A coefficient of agreement for nominal scales. Educational and
Psychological Measurement 20, 37-46; weights: Psychological Bulletin 70 (1968), 213-220.
Fleiss, J. L. (1971). Measuring nominal scale agreement among many raters.
Psychological Bulletin 76, 378-382.
Krippendorff, K. (2004). Content analysis, 2nd edition, chapter 11 (alpha, with missing readings).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.record import AgreementFigures
from seamtell.pipeline.evaluation.bootstrap import Bounds, Plan, grouped_bootstrap
from seamtell.pipeline.evaluation.result import Estimate

__all__ = [
    "Readings",
    "Weights",
    "agreement_figures",
    "cohen_kappa",
    "fleiss_kappa",
    "krippendorff_alpha",
    "weighted_kappa",
]

_ONE_FLAW_ONLY = "every reading names the same flaw: agreement beyond chance is not defined"
_NONE_TWICE = "no section was read by two examiners"


class Weights(StrEnum):
    """What a disagreement of two classes weighs, by their distance in the list of labels."""

    NONE = "none"
    LINEAR = "linear"
    QUADRATIC = "quadratic"


@dataclass(frozen=True, eq=False)
class Readings:
    """What each examiner saw at each section.

    Parameters
    ----------
    labels : tuple of str
        Classes; their order matters for weighted figures only.
    codes : int array of shape (n_sections, n_examiners)
        Place in `labels`, -1 where the examiner did not read the section.
    """

    labels: tuple[str, ...]
    codes: NDArray[np.int64]

    @classmethod
    def from_rows(
        cls, section_ids: Sequence[str], examiners: Sequence[str], flaws: Sequence[str], labels: Sequence[str]
    ) -> Readings:
        """From one row a reading.

        Raises
        ------
        ValueError
            A flaw is not in `labels`, or one examiner has two readings of one section.

        Examples
        --------
        >>> Readings.from_rows(["s1", "s1", "s2"], ["ann", "ben", "ann"], ["a", "b", "b"], ["a", "b"]).codes
        array([[ 0,  1],
               [ 1, -1]])
        """
        known = {label: i for i, label in enumerate(labels)}
        strange = sorted(set(flaws) - set(known))
        if strange:
            raise ValueError(f"unknown flaw {strange[0]!r}, expected one of {', '.join(labels)}")
        row = {name: i for i, name in enumerate(sorted(set(section_ids)))}
        column = {name: i for i, name in enumerate(sorted(set(examiners)))}
        codes = np.full((len(row), len(column)), -1, dtype=np.int64)
        for section, examiner, flaw in zip(section_ids, examiners, flaws, strict=True):
            if codes[row[section], column[examiner]] >= 0:
                raise ValueError(f"two readings of section {section!r} by {examiner!r}")
            codes[row[section], column[examiner]] = known[flaw]
        return cls(tuple(labels), codes)

    def read_twice(self) -> Readings:
        """Only the sections that two or more examiners read."""
        return Readings(self.labels, self.codes[(self.codes >= 0).sum(axis=1) >= 2])

    @property
    def counts(self) -> NDArray[np.float64]:
        """How many examiners named each class, shape (n_sections, k)."""
        named = self.codes[:, :, None] == np.arange(len(self.labels))
        return np.asarray(named.sum(axis=1), dtype=np.float64)


def weighted_kappa(tables: NDArray[np.float64], weights: Weights = Weights.NONE) -> NDArray[np.float64]:
    """Cohen's kappa of tables of shape (b, k, k), one examiner in rows, the other in columns; shape (b,).

    NaN where chance alone agrees fully or nothing was counted.

    Examples
    --------
    >>> weighted_kappa(np.array([[[20.0, 5.0], [10.0, 15.0]]])).round(2)
    array([0.4])
    """
    k = tables.shape[1]
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k))).astype(np.float64)
    cost = {Weights.NONE: (apart > 0).astype(np.float64), Weights.LINEAR: apart, Weights.QUADRATIC: apart**2}[
        weights
    ]
    total = tables.sum(axis=(1, 2))
    seen = (tables * cost).sum(axis=(1, 2))
    by_chance = np.einsum("bi,ij,bj->b", tables.sum(axis=2), cost, tables.sum(axis=1))
    defined = by_chance > 1e-12 * np.maximum(total, 1.0) ** 2
    return np.where(defined, 1.0 - seen * total / np.where(defined, by_chance, 1.0), np.nan)


def _figure(
    sums: NDArray[np.float64],
    statistic: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    worst: Callable[[NDArray[np.float64]], float],
    plan: Plan,
) -> Estimate:
    """Estimate over sections; `worst` gives the figure without any agreement at the shares seen."""
    if len(sums) == 0:
        return Estimate(n=0, level=plan.level, unknown=_NONE_TWICE)
    total = sums.sum(axis=0, keepdims=True)
    if not np.isfinite(statistic(total))[0]:
        return Estimate(n=len(sums), level=plan.level, unknown=_ONE_FLAW_ONLY)
    estimate = grouped_bootstrap(sums, statistic, plan, n=len(sums), bounds=Bounds(worst(total[0]), 1.0))
    return estimate.model_copy(update={"method": estimate.method.replace("groups", "sections")})


def cohen_kappa(readings: Readings, plan: Plan, weights: Weights = Weights.NONE) -> Estimate:
    """Cohen's kappa, mean over the pairs of examiners, each pair by the sections that both read.

    A pair that named one single class only has no kappa and is left out.
    """
    shared = readings.read_twice()
    codes, k = shared.codes, len(shared.labels)
    pairs = list(combinations(range(codes.shape[1]), 2))
    cells = np.zeros((len(codes), len(pairs), k * k))
    for p, (one, other) in enumerate(pairs):
        both = np.flatnonzero((codes[:, one] >= 0) & (codes[:, other] >= 0))
        cells[both, p, codes[both, one] * k + codes[both, other]] = 1.0

    def tables(sums: NDArray[np.float64]) -> NDArray[np.float64]:
        return sums.reshape(-1, k, k)

    def mean(sums: NDArray[np.float64]) -> NDArray[np.float64]:
        kappa = weighted_kappa(tables(sums), weights).reshape(len(sums), len(pairs))
        size = np.where(np.isfinite(kappa), sums.reshape(len(sums), len(pairs), k * k).sum(axis=2), 0.0)
        weight = size.sum(axis=1)
        whole = (np.nan_to_num(kappa) * size).sum(axis=1)
        return np.where(weight > 0, whole / np.where(weight > 0, weight, 1.0), np.nan)

    return _figure(cells.reshape(len(codes), -1), mean, lambda _: -1.0, plan)


def fleiss_kappa(readings: Readings, plan: Plan) -> Estimate:
    """Fleiss' kappa over the sections read by two or more.

    Where not all were read by equally many, a section's agreement is the share of
    agreeing pairs among its own pairs; with equal numbers that is Fleiss' own formula.
    """
    counts = readings.read_twice().counts
    n = counts.sum(axis=1)
    agreeing = (counts * (counts - 1)).sum(axis=1) / (n * (n - 1))
    sums = np.column_stack([np.ones(len(counts)), agreeing, counts])

    def by_chance(totals: NDArray[np.float64]) -> NDArray[np.float64]:
        named = totals[:, 2:]
        return np.asarray(((named / named.sum(axis=1, keepdims=True)) ** 2).sum(axis=1))

    def kappa(totals: NDArray[np.float64]) -> NDArray[np.float64]:
        chance = by_chance(totals)
        defined = chance < 1 - 1e-12
        seen = totals[:, 1] / totals[:, 0]
        return np.where(defined, (seen - chance) / np.where(defined, 1 - chance, 1.0), np.nan)

    def worst(total: NDArray[np.float64]) -> float:
        chance = float(by_chance(total[None, :])[0])
        return -chance / (1 - chance)

    return _figure(sums, kappa, worst, plan)


def krippendorff_alpha(readings: Readings, plan: Plan) -> Estimate:
    """Krippendorff's alpha for unordered classes; sections may lack readings."""
    counts = readings.read_twice().counts
    n = counts.sum(axis=1)
    disagreeing = (n**2 - (counts**2).sum(axis=1)) / np.maximum(n - 1, 1)
    sums = np.column_stack([disagreeing, counts])

    def expected(totals: NDArray[np.float64]) -> NDArray[np.float64]:
        named = totals[:, 1:]
        whole = named.sum(axis=1)
        return np.asarray((whole**2 - (named**2).sum(axis=1)) / np.maximum(whole - 1, 1))

    def alpha(totals: NDArray[np.float64]) -> NDArray[np.float64]:
        chance = expected(totals)
        defined = chance > 1e-12
        return np.where(defined, 1.0 - totals[:, 0] / np.where(defined, chance, 1.0), np.nan)

    def worst(total: NDArray[np.float64]) -> float:
        return 1.0 - float(total[1:].sum()) / float(expected(total[None, :])[0])

    return _figure(sums, alpha, worst, plan)


def agreement_figures(readings: Readings, plan: Plan) -> AgreementFigures | None:
    """All three figures; None when no section was read by two examiners."""
    shared = readings.read_twice()
    if len(shared.codes) == 0:
        return None
    read = shared.codes >= 0
    return AgreementFigures(
        sections=len(shared.codes),
        readings=int(read.sum()),
        examiners=int(read.any(axis=0).sum()),
        cohen_kappa=cohen_kappa(shared, plan),
        fleiss_kappa=fleiss_kappa(shared, plan),
        krippendorff_alpha=krippendorff_alpha(shared, plan),
    )

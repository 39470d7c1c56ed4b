"""Rates of each flaw by line, recipe, shift, coil and the like, for the process page.

Where groups are few their rates are corrected, and the contrasts are those of the corrected mix.
Coils are many and have few indications each: their rates are of labels as they were given,
and a coil is compared with all other seams by the exact test for two Poisson rates.

References
----------
Przyborowski, J. and Wilenski, H. (1940). Homogeneity of results in testing samples from
Poisson series. Biometrika 31, 313-323 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from seamtell.pipeline.acceptance.simultaneous import holm
from seamtell.pipeline.corrected_mix import CorrectedMix, Correction, mix_by
from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.process_page.view import GroupRow
from seamtell.pipeline.production.decided import ANSWERS, Coded, DecidedSeams
from seamtell.pipeline.production.places import poisson_interval
from seamtell.pipeline.store.seam_store import METADATA_COLUMNS

__all__ = ["columns_to_compare", "corrected_group_rows", "raw_group_rows"]

_OWN_COLUMNS = ("line", "recipe", "shift", "thickness_pair")
_FEW = 40
_SHOWN = 12


def columns_to_compare(seams: DecidedSeams) -> tuple[str, ...]:
    """Columns with a few groups: the usual ones, and the shop's own metadata."""
    further = (name for name in seams.columns if name not in (*METADATA_COLUMNS, *_OWN_COLUMNS, "week"))
    return tuple(name for name in (*_OWN_COLUMNS, *further) if 2 <= _values(seams, name) <= _FEW)


def _values(seams: DecidedSeams, column: str) -> int:
    return int(seams.metadata[column].nunique(dropna=False))


def corrected_group_rows(
    decided: Decided, columns: Sequence[str], correction: Correction, rng: np.random.Generator
) -> list[GroupRow]:
    """Corrected rates of the groups of each column, the highest first."""
    rows = []
    for column in columns:
        mix = mix_by(decided.counted(column, correction.bins), correction, rng)
        p = {(one.group, one.label): one.p_adjusted for one in mix.contrasts}
        rows += sorted(_corrected(column, mix, p), key=lambda row: -(row.per_km or 0.0))
    return rows


def _corrected(column: str, mix: CorrectedMix, p: dict[tuple[str, str], float]) -> list[GroupRow]:
    rows = []
    for group in mix.groups[1:]:
        raw = {one.label: one.count for one in group.raw}
        for one in group.flaws:
            rate = one.per_metre
            low, high = (None if end is None else 1000.0 * end for end in (rate.low, rate.high))
            rows.append(
                GroupRow(
                    by=column,
                    group=group.group,
                    label=one.label,
                    flaws=raw[one.label],
                    seams=group.seams,
                    per_km=None if rate.estimate is None else 1000.0 * rate.estimate,
                    low=low,
                    high=high,
                    p_adjusted=p.get((group.group, one.label)),
                    basis="corrected",
                )
            )
    return rows


def raw_group_rows(decided: Decided, column: str, groups: Coded) -> list[GroupRow]:
    """Rates of labels as they were given, in the groups of one column that stand out most."""
    seams, indications = decided.seams, decided.indications
    n, width = len(groups.names), len(ANSWERS)
    counts = np.bincount(
        groups.codes[indications.seam] * width + indications.answer, minlength=n * width
    ).reshape(n, width)
    metres = np.bincount(groups.codes, weights=seams.metres, minlength=n).astype(np.float64)
    number = np.bincount(groups.codes, minlength=n)
    p = _p_against_the_rest(counts, metres)
    adjusted = np.array([one if one is not None else 1.0 for one in holm(p.ravel().tolist())]).reshape(
        n, width
    )
    low, high = poisson_interval(counts)
    rows = []
    for place, label in enumerate(ANSWERS):
        # By the lower end of the rate: a coil of one seam must not lead with one flaw.
        rate_low = low[:, place] / np.where(metres > 0, metres, np.inf)
        for k in np.lexsort((-rate_low, adjusted[:, place]))[:_SHOWN].tolist():
            if metres[k] <= 0 or counts[k, place] == 0:
                continue
            rows.append(
                GroupRow(
                    by=column,
                    group=groups.names[k],
                    label=label,
                    flaws=int(counts[k, place]),
                    seams=int(number[k]),
                    per_km=1000.0 * float(counts[k, place]) / float(metres[k]),
                    low=1000.0 * float(low[k, place]) / float(metres[k]),
                    high=1000.0 * float(high[k, place]) / float(metres[k]),
                    p_adjusted=float(adjusted[k, place]),
                    basis="as labelled",
                    example=_example(decided, groups.codes == k, place) if adjusted[k, place] < 0.05 else "",
                )
            )
    return rows


def _p_against_the_rest(counts: NDArray[np.int64], metres: NDArray[np.float64]) -> NDArray[np.float64]:
    """Two-sided: of all flaws of a kind, how many fall to a group by its part of the metres."""
    total, part = counts.sum(axis=0), metres / metres.sum()
    low = binom.cdf(counts, total, part[:, None])
    high = binom.sf(counts - 1, total, part[:, None])
    return np.asarray(np.minimum(1.0, 2.0 * np.minimum(low, high)))


def _example(decided: Decided, own: NDArray[np.bool_], place: int) -> str:
    """The last seam of a group with such a label."""
    indications = decided.indications
    struck = indications.seam[own[indications.seam] & (indications.answer == place)]
    return str(decided.seams.metadata["seam_id"].iloc[int(struck.max())])

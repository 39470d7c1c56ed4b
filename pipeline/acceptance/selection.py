"""Miss rates with the choice of the sections undone.

Targeted cuts are made where something was indicated, so the sections hold far more
indicated flaws than missed ones and a detection rate counted from them is too good.
Two known facts undo that (Begg and Greenes): among *indications* the cuts tell which
flaw is behind one, and production tells how many there were; among *places where
nothing was indicated* the random cuts alone tell how often a flaw is there, and
production tells how many such places there were::

    missed    = unflagged places x (missed flaws per unflagged random cut)
    indicated = sum over kinds of indication (indications x share of the flaw behind them)
    miss rate = missed / (missed + indicated)

A *place* is the length of seam that one cut examines. A flaw of length ``l`` shows in
every place it reaches into, so a cut at random meets it ``(place + l) / place`` times as
often as a flaw without length; it is weighted by the inverse. A missed flaw of
unknown length counts as without length, which can only raise the miss rate. For the
same reason a place is better stated too short than too long.

What is assumed: within one kind of indication the choice of the cut did not depend on
what was behind it, or it was drawn with a probability that is known (a cut of a plan, which
is weighed by it, see `drawn_cuts`); random cuts are a random sample of seam length. Targeted
and planned cuts at unflagged places are chosen by suspicion and tell nothing about the rest:
they count in the figure *as cut*, not in the corrected one.

References
----------
Begg, C. B. and Greenes, R. A. (1983). Assessment of diagnostic tests when disease
verification is subject to selection bias. Biometrics 39, 207-215.
BMC Medical Research Methodology 8:75 (2008): the corrected figure is unstable where
few unflagged cuts found a miss (0.55 to 0.85 as the misses went from none to four).
Horvitz, D. G. and Thompson, D. J. (1952). A generalization of sampling without
replacement from a finite universe. JASA 47, 663-685.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.acceptance.production_counts import UNFLAGGED, Cuts, Production
from seamtell.pipeline.acceptance.record import MissRate
from seamtell.pipeline.evaluation.bootstrap import Plan, grouped_bootstrap, sums_by_group
from seamtell.pipeline.evaluation.confusion import NOTHING_UNFLAGGED
from seamtell.pipeline.evaluation.intervals import clopper_pearson, share, unknown
from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["ALL_FLAWS", "FEW_MISSES", "WANTED_MISS_RATE", "miss_rates"]

ALL_FLAWS = "all"
FEW_MISSES = 5
"""Fewer missed flaws than this among the random cuts: the bounds are all that the data support."""
WANTED_MISS_RATE = 0.10
"""The miss rate that `MissRate.random_cuts_wanted` is to bound."""


@dataclass(frozen=True, eq=False)
class _Counts:
    """Cuts of one class, counted."""

    random_cuts: int
    random_misses: int
    weights: NDArray[np.float64]  # of the random misses
    cut: dict[str, float]  # by kind of indication, effective number
    found: dict[str, float]


@dataclass(frozen=True)
class _Range:
    low: float
    high: float


def miss_rates(
    cuts: Cuts, production: Production, plan: Plan, *, labels: Sequence[str] | None = None
) -> tuple[MissRate, ...]:
    """Miss rate of all flaws together, then of each flaw.

    Parameters
    ----------
    cuts : Cuts
    production : Production
        Of the period that the figures are to speak of.
    plan : Plan
        Resampling of groups.
    labels : sequence of str, optional
        Flaws to report, `ALL_FLAWS` among them; default: all.

    Raises
    ------
    ValueError
        A cut has a kind of indication that production does not count.
    """
    strange = sorted(set(cuts.kinds.tolist()) - {UNFLAGGED, *production.indications})
    if strange:
        raise ValueError(f"production has no count of indications of kind {', '.join(strange)}")
    flaws = tuple(flaw.value for flaw in Flaw if flaw is not Flaw.SOUND)
    wanted = (ALL_FLAWS, *flaws) if labels is None else tuple(labels)
    return tuple(_miss_rate(label, cuts, production, plan) for label in wanted)


def _of_label(label: str, truths: NDArray[np.str_]) -> NDArray[np.bool_]:
    return np.asarray(truths != Flaw.SOUND.value if label == ALL_FLAWS else truths == label)


def _weights(length_mm: NDArray[np.float64], place_mm: float) -> NDArray[np.float64]:
    """Places over places met: one for a flaw without length, shape (n,)."""
    return place_mm / (place_mm + np.nan_to_num(length_mm, nan=0.0))


def _count(label: str, cuts: Cuts, production: Production) -> _Counts:
    is_flaw = _of_label(label, cuts.truths)
    audit = cuts.random & (cuts.kinds == UNFLAGGED)
    missed = audit & is_flaw
    kinds = [kind for kind, number in production.indications.items() if number > 0]
    drawn = drawn_weights(cuts.kinds, cuts.probability)
    return _Counts(
        random_cuts=int(audit.sum()),
        random_misses=int(missed.sum()),
        weights=_weights(cuts.length_mm[missed], production.place_mm),
        cut={kind: float(drawn[cuts.kinds == kind].sum()) for kind in kinds},
        found={kind: float(drawn[(cuts.kinds == kind) & is_flaw].sum()) for kind in kinds},
    )


def _miss_rate(label: str, cuts: Cuts, production: Production, plan: Plan) -> MissRate:
    counts = _count(label, cuts, production)
    bounds = _exact_bounds(counts, production, plan.level)
    bounds_only = counts.random_misses < FEW_MISSES
    corrected = _corrected(label, cuts, production, plan, counts, bounds)
    wanted = _random_cuts_wanted(counts, production, plan.level)
    seen = counts.random_cuts > 0
    return MissRate(
        label=label,
        as_cut=_as_cut(label, cuts, plan.level),
        corrected=corrected,
        exact_low=bounds.low if seen else None,
        exact_high=bounds.high if seen else None,
        random_cuts=counts.random_cuts,
        random_misses=counts.random_misses,
        random_cuts_wanted=wanted,
        bounds_only=bounds_only,
        words=_words(label, counts, corrected, bounds, wanted),
    )


def _as_cut(label: str, cuts: Cuts, level: float) -> Estimate:
    unflagged = cuts.kinds == UNFLAGGED
    if not unflagged.any():
        return unknown(NOTHING_UNFLAGGED, level=level)
    is_flaw = _of_label(label, cuts.truths)
    return share(
        int((is_flaw & unflagged).sum()),
        int(is_flaw.sum()),
        level=level,
        unknown_because="no section found this flaw",
    )


def _binomial_range(k: float, n: float, level: float) -> _Range:
    if n == 0:
        return _Range(0.0, 1.0)
    # An effective number may fall below its one section in the last digit.
    n = max(n, 1.0)
    return _Range(*clopper_pearson(min(k, n), n, level))


def _level_each(counts: _Counts, level: float) -> float:
    """Level of each binomial interval so that all of them hold together with `level` (Bonferroni)."""
    return 1.0 - (1.0 - level) / (1 + len(counts.cut))


def _indicated_range(counts: _Counts, production: Production, level: float) -> _Range:
    each = _level_each(counts, level)
    ranges = {kind: _binomial_range(counts.found[kind], n, each) for kind, n in counts.cut.items()}
    return _Range(
        sum(production.indications[kind] * r.low for kind, r in ranges.items()),
        sum(production.indications[kind] * r.high for kind, r in ranges.items()),
    )


def _exact_bounds(counts: _Counts, production: Production, level: float) -> _Range:
    """Bounds that hold with `level` whatever the true shares are.

    The upper one lets every missed flaw be without length; the lower one takes them no
    longer than the longest that a random cut met.
    """
    indicated = _indicated_range(counts, production, level)
    per_cut = _binomial_range(counts.random_misses, counts.random_cuts, _level_each(counts, level))
    lightest = float(counts.weights.min()) if len(counts.weights) else 1.0
    fewest = production.unflagged_places * per_cut.low * lightest
    most = production.unflagged_places * per_cut.high
    low = fewest / (fewest + indicated.high) if fewest > 0 else 0.0
    high = most / (most + indicated.low) if most > 0 else 0.0
    return _Range(low, high)


def _corrected(
    label: str, cuts: Cuts, production: Production, plan: Plan, counts: _Counts, bounds: _Range
) -> Estimate:
    used = counts.random_cuts + int(np.isin(cuts.kinds, list(counts.cut)).sum())
    if counts.random_cuts == 0:
        return unknown(NOTHING_UNFLAGGED, n=used, level=plan.level)
    blank = [kind for kind, n in counts.cut.items() if n == 0]
    if blank:
        return unknown(f"no indication {', '.join(blank)} was cut", n=used, level=plan.level)
    if counts.random_misses + sum(counts.found.values()) == 0:
        return unknown("no section found this flaw", n=used, level=plan.level)
    estimate = _bootstrapped(label, cuts, production, plan, list(counts.cut), used)
    if counts.random_misses >= FEW_MISSES or estimate.estimate is None:
        return estimate
    # Resampling a handful of misses pretends to a spread that it cannot know.
    return Estimate(
        n=used,
        estimate=estimate.estimate,
        low=min(bounds.low, estimate.estimate),
        high=max(bounds.high, estimate.estimate),
        level=plan.level,
        method=f"Begg-Greenes; exact bounds, fewer than {FEW_MISSES} missed flaws in the random cuts",
    )


def _bootstrapped(
    label: str, cuts: Cuts, production: Production, plan: Plan, kinds: list[str], used: int
) -> Estimate:
    is_flaw = _of_label(label, cuts.truths)
    audit = cuts.random & (cuts.kinds == UNFLAGGED)
    weight = np.where(is_flaw, _weights(cuts.length_mm, production.place_mm), 0.0)
    columns = [audit.astype(float), np.where(audit, weight, 0.0)]
    drawn = drawn_weights(cuts.kinds, cuts.probability)
    for kind in kinds:
        here = np.where(cuts.kinds == kind, drawn, 0.0)
        columns += [here, np.where(is_flaw, here, 0.0)]
    numbers = np.array([production.unflagged_places, *(production.indications[kind] for kind in kinds)])
    # Groups without any cut that counts would only add empty draws.
    counted = audit | (cuts.kinds != UNFLAGGED)
    sums = sums_by_group(np.column_stack(columns)[counted], cuts.groups[counted])

    def rate(totals: NDArray[np.float64]) -> NDArray[np.float64]:
        with np.errstate(invalid="ignore", divide="ignore"):
            flaws = numbers * (totals[:, 1::2] / totals[:, 0::2])
            return np.asarray(flaws[:, 0] / flaws.sum(axis=1))

    estimate = grouped_bootstrap(sums, rate, plan, n=used)
    return estimate.model_copy(update={"method": f"Begg-Greenes; {estimate.method}"})


def _random_cuts_wanted(counts: _Counts, production: Production, level: float) -> int | None:
    """Random cuts without a miss that bring the exact upper bound to `WANTED_MISS_RATE`.

    None where the cuts at indications show no such flaw: then nothing bounds the rate.
    """
    indicated = _indicated_range(counts, production, level).low
    if indicated <= 0 or production.unflagged_places <= 0:
        return None
    most = WANTED_MISS_RATE / (1 - WANTED_MISS_RATE) * indicated / production.unflagged_places
    if most >= 1:
        return 1
    tail = (1.0 - _level_each(counts, level)) / 2.0
    return math.ceil(math.log(tail) / math.log1p(-most))


def _words(label: str, counts: _Counts, corrected: Estimate, bounds: _Range, wanted: int | None) -> str:
    name = "flaw" if label == ALL_FLAWS else label.replace("_", " ")
    goal = (
        f"{wanted:,} random cuts without a miss would bound it to {WANTED_MISS_RATE:.2f}."
        if wanted is not None
        else "No number of random cuts bounds it while no cut at an indication found one."
    )
    if counts.random_cuts == 0:
        return f"Unknown, not zero: no random cut was made where nothing was indicated. {goal}"
    cuts = f"{counts.random_cuts} random cut{'' if counts.random_cuts == 1 else 's'} at unflagged places"
    met = {0: f"no missed {name}", 1: f"one missed {name}"}
    seen = f"{cuts} met {met.get(counts.random_misses, f'a missed {name} {counts.random_misses:,} times')}"
    between = f"{bounds.low:.2f} to {bounds.high:.2f}"
    if counts.random_misses < FEW_MISSES or corrected.estimate is None:
        return f"{seen}: the data support no more than the bounds {between}. {goal}"
    return f"{seen}: corrected miss rate {corrected.estimate:.2f}, exact bounds {between}. {goal}"

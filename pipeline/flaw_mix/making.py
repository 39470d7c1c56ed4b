"""From counts and sections to the corrected mix of every group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.record import MissRate
from seamtell.pipeline.acceptance.simultaneous import holm
from seamtell.pipeline.evaluation.intervals import clopper_pearson
from seamtell.pipeline.flaw_mix.behaviour import SHIFT_LEVEL, fit_p, sections_p
from seamtell.pipeline.flaw_mix.confusion_draws import ConfusionDraws
from seamtell.pipeline.flaw_mix.contrasts import contrasts, largest_probability
from seamtell.pipeline.flaw_mix.corrected import (
    MIN_SECTIONS,
    GroupCounts,
    GroupDraws,
    draw_group,
    figure_of,
    sections_wanted,
    upper_bounds,
)
from seamtell.pipeline.flaw_mix.judged_sections import TRUTHS, JudgedSections
from seamtell.pipeline.flaw_mix.record import (
    Behaviour,
    FlawFigures,
    GroupContrast,
    GroupMix,
    MixFigure,
    RawCount,
)
from seamtell.pipeline.production.decided import ANSWERS

__all__ = [
    "LEVEL",
    "GroupInput",
    "behaviour_of",
    "group_contrasts",
    "group_mix",
    "rates_per_metre",
    "raw_counts",
]

LEVEL = 0.95
_FLAWS = np.array([name != Flaw.SOUND.value for name in TRUTHS])


@dataclass(frozen=True, eq=False)
class GroupInput:
    """One group as it was counted.

    Parameters
    ----------
    name : str
    counts : GroupCounts
    parts : float
    smaller : int
        Indications lower than the sections speak of; not among the counts.
    """

    name: str
    counts: GroupCounts
    parts: float
    smaller: int = 0


def raw_counts(answers: NDArray[np.int64]) -> tuple[RawCount, ...]:
    """Labels as they stand, each share with its exact interval."""
    n = int(answers.sum())
    rows = []
    for label, count in zip(ANSWERS, answers.tolist(), strict=True):
        low, high = clopper_pearson(count, n, LEVEL) if n else (None, None)
        rows.append(RawCount(label=label, count=count, share=count / n if n else None, low=low, high=high))
    return tuple(rows)


def behaviour_of(
    judged: JudgedSections,
    shown: NDArray[np.float64],
    since: np.datetime64,
    rng: np.random.Generator,
) -> Behaviour:
    """Test whether the classifier still answers as it did to the sections.

    Parameters
    ----------
    judged : JudgedSections
    shown : float array of shape (s,)
        Indications of the decisions by stratum, over their dispersion.
    since : datetime64
        First seam of the decisions: sections welded from then on are new.
    """
    fit = fit_p(judged.counts, shown, rng)
    new = sections_p(judged.truths, judged.answers, judged.welded_at >= since, rng)
    adjusted = holm([fit, new])
    changed = any(p is not None and p < SHIFT_LEVEL for p in adjusted)
    if changed:
        words = (
            "the classifier seems to answer otherwise than it did to the sections: no correction is valid. "
            "To do: look for a change of head, gain or recipe; cut new sections and train again"
        )
    else:
        words = "no sign that the classifier answers otherwise than it did to the sections" + (
            "; no new section of a class that was cut before could confirm it" if new is None else ""
        )
    return Behaviour(fit_p=fit, sections_p=new, changed=changed, words=words)


def group_mix(
    group: GroupInput,
    judged: JudgedSections | None,
    confusion: ConfusionDraws | None,
    missed: Mapping[str, MissRate],
    rng: np.random.Generator,
    *,
    why_not: str = "",
) -> tuple[GroupMix, GroupDraws | None]:
    """The mix of one group, and its draws for contrasts.

    Parameters
    ----------
    group : GroupInput
    judged, confusion : JudgedSections, ConfusionDraws, or None
        None where no correction is possible, as `why_not` says.
    missed : mapping of str to MissRate
        Of each flaw, as far as it is known.
    why_not : str
    """
    counts = group.counts
    draws = None
    if judged is not None and confusion is not None and counts.indications > 0:
        draws = draw_group(counts, confusion, rng)
        flaws = _figures(group, judged, draws, missed)
    else:
        why = why_not or "no indication in this group"
        flaws = tuple(_unknown(label, why, None, 0) for label in TRUTHS)
    mix = GroupMix(
        group=group.name,
        seams=counts.seams,
        parts=group.parts,
        metres=counts.metres,
        indications=counts.indications,
        smaller=group.smaller,
        dispersion=counts.dispersion,
        raw=raw_counts(counts.answers),
        flaws=flaws,
    )
    return mix, draws


def group_contrasts(
    own: Mapping[str, tuple[GroupDraws, float]],
    rest: Mapping[str, tuple[GroupDraws, float]],
    known: tuple[str, ...],
) -> tuple[GroupContrast, ...]:
    """Each group against all other seams; draws with their metres, of the labels that are known."""
    rates = {name: (rates_per_metre(*own[name], known), rates_per_metre(*rest[name], known)) for name in own}
    return tuple(
        GroupContrast(
            group=one.group,
            label=one.label,
            ratio=one.ratio,
            low=one.low,
            high=one.high,
            p=one.p,
            p_adjusted=one.p_adjusted,
        )
        for one in contrasts(rates, known, LEVEL)
    )


def rates_per_metre(draws: GroupDraws, metres: float, labels: Sequence[str]) -> NDArray[np.float64]:
    """Flaws of each label per metre, shape (draws, labels)."""
    places = [TRUTHS.index(label) for label in labels]
    return np.asarray(draws.mix[:, places] * draws.indications[:, None] / max(metres, 1e-9))


def _figures(
    group: GroupInput, judged: JudgedSections, draws: GroupDraws, missed: Mapping[str, MissRate]
) -> tuple[FlawFigures, ...]:
    sections = judged.counts.sections
    bounds = upper_bounds(judged.counts, group.counts, LEVEL)
    of_flaws = _among_flaws(draws.mix)
    point_of_flaws = _among_flaws(draws.point[None, :])[0]
    thin = sections < MIN_SECTIONS
    # A flaw that the sections say too little of may be the largest, as far as they tell.
    largest = None if (thin & _FLAWS).any() else largest_probability(np.where(_FLAWS, of_flaws, -1.0))
    rows = []
    for place, label in enumerate(TRUTHS):
        if thin[place]:
            why = f"{sections[place]} sections of it at indications, at least {MIN_SECTIONS} are needed"
            rows.append(_unknown(label, why, float(bounds[place]), int(sections[place])))
            continue
        share = _figure(draws.mix[:, place], float(draws.point[place]))
        number = draws.mix[:, place] * draws.indications
        point = float(draws.point[place]) * group.counts.indications
        per_metre = _per(number, point, group.counts.metres)
        half = (share.high or 0.0) - (share.low or 0.0)
        rows.append(
            FlawFigures(
                label=label,
                share_of_indications=share,
                share_of_flaws=_figure(of_flaws[:, place], float(point_of_flaws[place]))
                if _FLAWS[place]
                else MixFigure(unknown="not a flaw"),
                per_seam=_per(number, point, group.counts.seams),
                per_metre=per_metre,
                per_1000_parts=_per(number, point, group.parts / 1000.0),
                per_metre_with_missed=_with_missed(per_metre, missed.get(label)),
                largest_probability=float(largest[place]) if largest is not None and _FLAWS[place] else None,
                sections_wanted=sections_wanted(int(sections[place]), half / 2.0),
            )
        )
    return tuple(rows)


def _among_flaws(mix: NDArray[np.float64]) -> NDArray[np.float64]:
    flaws = mix * _FLAWS
    total = flaws.sum(axis=1, keepdims=True)
    return np.asarray(np.where(total > 0, flaws / np.where(total > 0, total, 1.0), 1.0 / _FLAWS.sum()))


def _figure(draws: NDArray[np.float64], point: float) -> MixFigure:
    one = figure_of(draws, point, LEVEL)
    return MixFigure(estimate=one.estimate, low=one.low, high=one.high)


def _per(number: NDArray[np.float64], point: float, units: float) -> MixFigure:
    return _figure(number / units, point / units) if units > 0 else MixFigure(unknown="nothing was inspected")


def _with_missed(rate: MixFigure, missed: MissRate | None) -> MixFigure:
    """Indicated over one less the missed share; the intervals are combined end to end."""
    if rate.estimate is None or rate.low is None or rate.high is None:
        return MixFigure(unknown=rate.unknown)
    if missed is None or missed.exact_low is None or missed.exact_high is None:
        return MixFigure(unknown="no random cut where nothing was indicated: how many are missed is unknown")
    if missed.exact_high >= 1.0:
        return MixFigure(unknown="the random cuts do not bound the missed share")
    low, high = rate.low / (1.0 - missed.exact_low), rate.high / (1.0 - missed.exact_high)
    middle = missed.corrected.estimate
    if middle is None or middle >= 1.0:
        return MixFigure(low=low, high=high, unknown="bounds only")
    return MixFigure(estimate=min(max(rate.estimate / (1.0 - middle), low), high), low=low, high=high)


def _unknown(label: str, why: str, bound: float | None, sections: int) -> FlawFigures:
    none = MixFigure(unknown=why)
    bounded = none if bound is None or bound >= 1.0 else MixFigure(unknown=why, low=0.0, high=bound)
    return FlawFigures(
        label=label,
        share_of_indications=bounded,
        share_of_flaws=none,
        per_seam=none,
        per_metre=none,
        per_1000_parts=none,
        per_metre_with_missed=none,
        sections_wanted=sections_wanted(sections, None),
    )

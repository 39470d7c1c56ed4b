"""Corrected mix of every choice of line, recipe and period, and months compared, for the process page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, groupby

import numpy as np

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.pipeline.corrected_mix import Correction, counts_of
from seamtell.pipeline.flaw_mix.contrasts import rate_ratio
from seamtell.pipeline.flaw_mix.corrected import GroupDraws
from seamtell.pipeline.flaw_mix.making import LEVEL, rates_per_metre
from seamtell.pipeline.flaw_mix.record import FlawFigures, GroupMix, RawCount
from seamtell.pipeline.process_page.view import ALL, MixRow, PairRow, Period
from seamtell.pipeline.production.cells import Cells

__all__ = ["MIX_COLUMNS", "MixOfChoice", "mix_rows", "mixes_of_choices", "pair_rows"]

MIX_COLUMNS = ("line", "recipe", "month")
"""Columns that the cells have to be counted by."""
_ANSWER_ONLY = "an answer of the classifier, not a flaw"


@dataclass(frozen=True, eq=False)
class MixOfChoice:
    """Mix of the seams of one choice, with its draws where it is corrected."""

    line: str
    recipe: str
    period: str
    mix: GroupMix
    draws: GroupDraws | None


def mixes_of_choices(
    cells: Cells, correction: Correction, periods: Sequence[Period], rng: np.random.Generator
) -> list[MixOfChoice]:
    """Every choice in which there is a seam; `cells` by `MIX_COLUMNS`."""
    found = []
    # With one line or one recipe several choices are the same cells.
    mixes: dict[bytes, tuple[GroupMix, GroupDraws | None]] = {}
    for line in (ALL, *cells.groups["line"].names):
        of_line = cells.all if line == ALL else cells.of("line", line)
        for recipe in (ALL, *cells.groups["recipe"].names):
            of_both = of_line if recipe == ALL else of_line & cells.of("recipe", recipe)
            for period in periods:
                months = [cells.groups["month"].names.index(month) for month in period.months]
                own = of_both & np.isin(cells.groups["month"].codes, months)
                if not own.any():
                    continue
                key = own.tobytes()
                if key not in mixes:
                    mixes[key] = correction.mix_of(counts_of(ALL, cells, own), rng)
                found.append(MixOfChoice(line, recipe, period.key, *mixes[key]))
    return found


def mix_rows(choices: Sequence[MixOfChoice], correction: Correction) -> list[MixRow]:
    """One row for each flaw of each choice."""
    return [row for one in choices for row in _rows(one, corrected=not correction.why_not)]


def pair_rows(choices: Sequence[MixOfChoice], labels: Sequence[str]) -> list[PairRow]:
    """Each month against every month before it, of the `labels` with sections enough."""
    rows = []
    for (line, recipe), own in groupby(choices, key=lambda one: (one.line, one.recipe)):
        rates = {
            one.period: rates_per_metre(one.draws, one.mix.metres, labels)
            for one in own
            if one.draws is not None and one.period != ALL
        }
        for earlier, later in combinations(sorted(rates), 2):
            for k, label in enumerate(labels):
                ratio = rate_ratio(rates[later][:, k], rates[earlier][:, k], LEVEL)
                rows.append(PairRow(line, recipe, label, earlier, later, *ratio))
    return rows


def _rows(choice: MixOfChoice, *, corrected: bool) -> list[MixRow]:
    mix = choice.mix
    raw = {one.label: one for one in mix.raw}

    def row(label: str, figures: FlawFigures | None, note: str) -> MixRow:
        share, rate = (figures.share_of_indications, figures.per_metre) if figures else (None, None)
        return MixRow(
            line=choice.line,
            recipe=choice.recipe,
            period=choice.period,
            label=label,
            raw=raw[label].count,
            n=mix.indications,
            seams=mix.seams,
            metres=mix.metres,
            share=share.estimate if share else None,
            low=share.low if share else None,
            high=share.high if share else None,
            per_km=_per_km(rate.estimate) if rate else None,
            per_km_low=_per_km(rate.low) if rate else None,
            per_km_high=_per_km(rate.high) if rate else None,
            largest=figures.largest_probability if figures else None,
            note=note,
        )

    rows = [row(one.label, one, _note(one, raw[one.label], corrected)) for one in mix.flaws]
    return [*rows, row(UNCLASSIFIED, None, _ANSWER_ONLY)]


def _note(figures: FlawFigures, raw: RawCount, corrected: bool) -> str:
    if not corrected:
        return "no correction, see the top of the page"
    if figures.share_of_indications.estimate is not None:
        return ""
    if raw.share is None:
        return "no indication"
    return f"{figures.sections_wanted} more sections of it would tell"


def _per_km(per_metre: float | None) -> float | None:
    return None if per_metre is None else 1000.0 * per_metre

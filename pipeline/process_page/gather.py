"""Everything of the process page, gathered from a workspace."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from seamtell.pipeline.corrected_mix import SEED, CorrectedMix, correction_of, mix_by
from seamtell.pipeline.counted_decisions import Decided, deviation_of, read_decided
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.flaw_mix.making import LEVEL
from seamtell.pipeline.mix import NO_MODEL_WARNING, TRIAL_WARNING
from seamtell.pipeline.process_page.answer import answer_of, news_of
from seamtell.pipeline.process_page.found import Found
from seamtell.pipeline.process_page.group_rows import (
    columns_to_compare,
    corrected_group_rows,
    raw_group_rows,
)
from seamtell.pipeline.process_page.hints import hint_rows
from seamtell.pipeline.process_page.instrument_rows import instrument_of
from seamtell.pipeline.process_page.mark_rows import mark_rows
from seamtell.pipeline.process_page.mix_rows import MIX_COLUMNS, mix_rows, mixes_of_choices, pair_rows
from seamtell.pipeline.process_page.next_cuts import next_cuts
from seamtell.pipeline.process_page.pictures import seam_pictures
from seamtell.pipeline.process_page.place_rows import (
    BIN_WIDTHS,
    along_seams,
    cover_rows,
    even_rows,
    filters_of,
    place_rows,
)
from seamtell.pipeline.process_page.slices import periods_of, slices_of, week_counts
from seamtell.pipeline.process_page.time_rows import baseline_weeks_of, change_rows, week_rows
from seamtell.pipeline.process_page.view import ProcessView
from seamtell.pipeline.production.causes import read_causes
from seamtell.pipeline.production.cells import count_cells
from seamtell.pipeline.production.decided import ANSWERS
from seamtell.pipeline.production.run_rules import RunRule, average_run_length
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.workspace import Workspace

__all__ = ["gather_view"]


def gather_view(
    ws: Workspace, decisions: Path | None = None, *, baseline_weeks: int | None = None, now: datetime
) -> ProcessView:
    """Gather the page.

    Parameters
    ----------
    ws : Workspace
    decisions : Path, optional
        Default: the newest decisions. A trial run is only read when named.
    baseline_weeks : int, optional
        Weeks with production at the start that set the limits of the u-charts; default: a quarter of
        them, at least eight.
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput
        No decisions, damaged ones, ones about no seam, or a seam that the store lost.
    StorageProblem
        The record of health or the cut plan is not readable.
    """
    everything = read_decided(ws, decisions)
    if not len(everything.seams):
        raise BadInput("no seam was decided on", where=str(everything.folder), do="classify some seams first")
    decided = everything.of_asked()
    if not len(decided.seams):
        raise BadInput(
            "labels were in force on no seam",
            where=str(everything.folder),
            do="see 'seamtell refcheck' and 'seamtell drift', or classify seams of a recipe that was trained",
        )
    settings = read_settings(ws.settings_path)
    rng = np.random.default_rng(SEED)
    correction = correction_of(ws, decided, rng)
    cells = count_cells(decided.seams, decided.indications, MIX_COLUMNS, correction.bins)
    mix = mix_by(decided.counted(bins=correction.bins), correction, rng)
    periods = periods_of(decided)
    weeks = len(np.unique(decided.seams.weeks))
    baseline = baseline_weeks or baseline_weeks_of(weeks)
    alongs, filters = along_seams(decided), filters_of(decided)
    by_week = [(own, week_counts(decided, own)) for own in slices_of(decided)]
    changes, marks = change_rows(by_week, rng), mark_rows(everything, rng)
    columns = columns_to_compare(decided.seams)
    groups = [
        *corrected_group_rows(decided, columns, correction, rng),
        *raw_group_rows(decided, "coil", decided.seams.coils()),
    ]
    even = [row for along in alongs for row in even_rows(decided, along, rng)]
    found = Found(changes, marks, even, groups, LEVEL)
    choices = mixes_of_choices(cells, correction, periods, rng)
    instrument = instrument_of(ws, settings.health, last_welded=_last_welded(everything), now=now)
    cuts, cuts_note = next_cuts(ws)
    named = [*(mark.example for mark in marks), *(one.example for one in groups if one.example)]
    day = everything.seams.welded_at.astype("datetime64[D]")
    return ProcessView(
        shop=settings.shop or "the shop",
        made_at=f"{now:%Y-%m-%d %H:%M} UTC",
        decided_at=f"{decided.record.decided_at:%Y-%m-%d %H:%M} UTC",
        model=f"model {decided.record.model_id}" if decided.record.model_id else "no model",
        first_day=str(day.min()),
        last_day=str(day.max()),
        seams=len(everything.seams),
        metres=float(everything.seams.metres.sum()),
        indications=len(everything.indications),
        level=LEVEL,
        bins={measured.words: width for measured, width in BIN_WIDTHS.items()},
        answer=answer_of(mix, found, instrument),
        lines=filters[0].names,
        recipes=filters[1].names,
        periods=periods,
        labels=ANSWERS,
        warnings=_warnings(everything, mix, len(everything.seams) - len(decided.seams)),
        lowest_height_share=mix.sections.lowest_height_share,
        smaller=mix.groups[0].smaller,
        mix=tuple(mix_rows(choices, correction)),
        pairs=tuple(pair_rows(choices, correction.known)),
        weeks=tuple(week_rows(by_week, baseline)),
        changes=tuple(changes),
        places=tuple(row for along in alongs for row in place_rows(decided, along, filters)),
        cover=tuple(row for along in alongs for row in cover_rows(along, filters)),
        even=tuple(even),
        marks=tuple(marks),
        groups=tuple(groups),
        health_rows=instrument.rows,
        cuts=tuple(cuts),
        hints=hint_rows(read_causes(ws.causes_path), found),
        news=news_of(everything),
        baseline_weeks=baseline,
        weeks_to_false_alarm=average_run_length(tuple(RunRule), rng),
        health=instrument.checks,
        trends=instrument.trends,
        drift=instrument.drift,
        suspended_since=instrument.suspended_since,
        cuts_note=cuts_note,
        pictures=seam_pictures(ws, everything, [*named, *(cut.seam_id for cut in cuts)]),
    )


def _last_welded(decided: Decided) -> datetime:
    last: datetime = decided.seams.welded_at.max().astype("datetime64[us]").item()
    return last.replace(tzinfo=UTC)


def _warnings(decided: Decided, mix: CorrectedMix, not_asked: int) -> tuple[str, ...]:
    """What a reader must know before any figure."""
    deviation = deviation_of(decided.record)
    return tuple(
        sentence
        for sentence in (
            TRIAL_WARNING if decided.trial else "",
            NO_MODEL_WARNING if not decided.record.model_digest else "",
            f"The mix is not corrected: {mix.why_not}." if mix.why_not else "",
            f"{deviation}." if deviation else "",
            _not_asked(not_asked, len(decided.seams)),
        )
        if sentence
    )


def _not_asked(out: int, seams: int) -> str:
    """How many seams the figures of flaws are not of; empty for none."""
    if not out:
        return ""
    return (
        f"On {out} of {seams} seams ({out / seams:.0%}) no model was asked: labels "
        "were suspended, or the model does not know the recipe. There the limit rule decided alone. Figures "
        "of flaws are of the other seams; places that come back are of all."
    )

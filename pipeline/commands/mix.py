"""``seamtell mix``: how often each flaw was labelled, and how often it is there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, DecisionsDir, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.corrected_mix import CorrectedMix
    from seamtell.pipeline.flaw_mix.record import FlawFigures
    from seamtell.pipeline.mix import MixShare

__all__ = ["register"]

By = Annotated[
    str,
    typer.Option(
        "--by",
        help="Metadata column, for example line, recipe, coil, shift, week, thickness_pair; default: none.",
    ),
]
Periods = Annotated[
    list[str] | None,
    typer.Option(
        "--period",
        help="Only seams welded then: a month (2026-05), a day, or FIRST..LAST, UTC. Several are compared.",
    ),
]
Csv = Annotated[Path | None, typer.Option("--csv", help="Also write the shares to this CSV file.")]

_FIGURES = ("share of flaws", "per metre", "per 1,000 parts", "P(largest)", "would settle")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("mix")(_mix)


def _mix(
    by: By = "",
    period: Periods = None,
    decisions: DecisionsDir = None,
    csv: Csv = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Print shares and rates of each flaw, corrected for the classifier's confusion, and the raw labels."""
    from seamtell.pipeline.corrected_mix import corrected_mix, write_mix
    from seamtell.pipeline.counted_decisions import read_decided
    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.mix import (
        NO_MODEL_WARNING,
        RAW_LABELS_WARNING,
        TRIAL_WARNING,
        raw_mix,
        write_mix_csv,
    )
    from seamtell.pipeline.production.chosen_periods import PERIOD_COLUMN, parse_periods
    from seamtell.pipeline.workspace import find_workspace

    periods = parse_periods(period or ())
    if len(periods) > 1 and by:
        raise BadInput(
            "several periods and a column to group by",
            where="--period, --by",
            do="group by the column within one period, or compare periods without it",
        )
    ws = find_workspace(explicit=workspace)
    decided = read_decided(ws, decisions)
    if periods:
        decided = decided.in_periods(periods)
    by = PERIOD_COLUMN if len(periods) > 1 else by
    result = raw_mix(decided.counted(by))
    corrected = corrected_mix(ws, decided, by)
    if csv is not None:
        write_mix_csv(result, csv)
    if not result.trial:
        write_mix(corrected, ws.reports_dir / "mix.json")
    console.warn(RAW_LABELS_WARNING)
    if result.trial:
        console.warn(TRIAL_WARNING)
    if result.deviation:
        console.warn(result.deviation)
    if not result.model_digest:
        console.warn(NO_MODEL_WARNING)
    if as_json:
        from dataclasses import asdict

        console.print_json(
            {
                "decisions": str(result.folder),
                "by": result.by,
                "model_digest": result.model_digest,
                "trial": result.trial,
                "physics_only": result.physics_only,
                "deviation": result.deviation,
                "warning": RAW_LABELS_WARNING,
                "answer": corrected.answer,
                "corrected": corrected.model_dump(mode="json"),
                "seams": result.seams,
                "shares": [asdict(share) for share in result.shares],
            }
        )
        return
    _print_corrected(corrected)
    console.say("Indications by label")
    console.print_table(
        (result.by or "group", "label", "count", "of", "share", "95 % interval"),
        [(s.group, _label(s.label), s.count, s.n, _share(s), _interval(s)) for s in result.shares],
        right=("count", "of", "share", "95 % interval"),
    )
    console.say(f"Counted from {result.folder}, {result.seams['all']} seams.")
    console.caution()


def _print_corrected(mix: CorrectedMix) -> None:
    """The answer first, then the figures, then what they rest on."""
    console.say(mix.answer)
    console.say()
    if mix.why_not:
        return
    rows = [(group.group, one) for group in mix.groups for one in group.flaws]
    console.print_table(
        (mix.by or "group", "flaw", *_FIGURES),
        [_corrected_row(group, one) for group, one in rows],
        right=_FIGURES,
        title="Corrected for the classifier's confusion, 95 % intervals",
    )
    # Of two groups, the second against the first says it all.
    two = len(mix.groups) == 3
    rest = mix.groups[1].group if two else "all other seams"
    for one in mix.contrasts:
        if one.p_adjusted < 1.0 - mix.level and not (two and one.group == rest):
            ratio = f"{one.ratio:.2f} [{one.low:.2f}, {one.high:.2f}] times the rate of {rest}"
            sure = f"p {one.p_adjusted:.2g} (Holm, {len(mix.contrasts)} comparisons)"
            console.say(f"{one.group}: {one.label.replace('_', ' ')} {ratio}, {sure}")
    used = ", ".join(f"{n} {label.replace('_', ' ')}" for label, n in mix.sections.sections.items())
    console.say(f"Rests on sections at indications ({used}): {mix.sections.words}.")
    lowest = mix.sections.lowest_height_share
    if lowest is not None:
        console.say(
            f"Of indications from {lowest:.0%} of the limit on, as high as those that are cut; "
            f"{mix.groups[0].smaller} lower ones are left out."
        )
    if mix.seams_not_asked:
        console.say(
            f"On {mix.seams_not_asked} seams no model was asked (labels suspended, or a recipe it does not "
            "know): no corrected figure is of them."
        )
    if mix.behaviour is not None:
        console.say(f"Behaviour: {mix.behaviour.words}.")
    console.say()


def _corrected_row(group: str, one: FlawFigures) -> tuple[object, ...]:
    wanted = f"{one.sections_wanted} sections" if one.sections_wanted else "settled"
    largest = "" if one.largest_probability is None else f"{one.largest_probability:.2f}"
    figures = (one.share_of_flaws, one.per_metre, one.per_1000_parts)
    return (group, _label(one.label), *(str(figure) for figure in figures), largest, wanted)


def _label(label: str) -> str:
    return "sound (false indication)" if label == "sound" else label


def _share(one: MixShare) -> str:
    return "no indication" if one.share is None else f"{one.share:.3f}"


def _interval(one: MixShare) -> str:
    return "" if one.low is None or one.high is None else f"[{one.low:.3f}, {one.high:.3f}]"

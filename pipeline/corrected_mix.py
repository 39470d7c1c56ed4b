"""The stage *mix*, corrected: what the flaws behind the labels are, group by group."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.acceptance.record import MissRate
from seamtell.pipeline.counted_decisions import CountedDecisions, Decided, deviation_of
from seamtell.pipeline.evaluation.files import read_acceptance
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.flaw_mix.confusion_draws import ConfusionDraws, draw_confusion
from seamtell.pipeline.flaw_mix.corrected import (
    MIN_SECTIONS,
    GroupCounts,
    GroupDraws,
    dispersion_of,
    draw_group,
)
from seamtell.pipeline.flaw_mix.judged_sections import TRUTHS, JudgedSections, judged_sections
from seamtell.pipeline.flaw_mix.making import LEVEL, GroupInput, behaviour_of, group_contrasts, group_mix
from seamtell.pipeline.flaw_mix.record import Behaviour, GroupContrast, GroupMix, SectionsUsed
from seamtell.pipeline.production.cells import Cells
from seamtell.pipeline.production.decided import ALL_SEAMS
from seamtell.pipeline.production.height_bins import EVERY_HEIGHT, HeightBins
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "CorrectedMix",
    "Correction",
    "corrected_mix",
    "correction_of",
    "counts_of",
    "mix_by",
    "write_mix",
]

Mask = NDArray[np.bool_]

DRAWS = 2000
SEED = 7


class CorrectedMix(BaseModel):
    """``mix.json``."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    schema_version: int = 1
    decisions: str
    by: str
    """Metadata column of the groups; empty when there is one group."""
    model_id: str
    deviation: str
    """The model was approved against failed criteria: which, why and until when."""
    trial: bool
    """Counted from a trial run, because it was named: an unapproved model labelled."""
    seams_not_asked: int = 0
    """Seams whose labels were suspended or whose recipe the model does not know: no figure is of them."""
    level: float
    seed: int
    sections: SectionsUsed
    behaviour: Behaviour | None
    """None where no correction was tried."""
    why_not: str
    """Why there is no correction; empty when there is one."""
    groups: tuple[GroupMix, ...]
    """All seams first."""
    contrasts: tuple[GroupContrast, ...]

    @property
    def answer(self) -> str:
        """One sentence: which flaw dominates, and how sure that is."""
        whole = self.groups[0]
        if self.why_not:
            return f"Which flaw dominates is unknown: {self.why_not}."
        known = [one for one in whole.flaws if one.largest_probability is not None]
        if not known:
            thin = [one.label.replace("_", " ") for one in whole.flaws if one.share_of_flaws.estimate is None]
            return f"Which flaw dominates is unknown: too few sections of {', '.join(thin)}."
        most = max(known, key=lambda one: one.largest_probability or 0.0)
        share = most.share_of_flaws
        sure = most.largest_probability or 0.0
        strength = (
            "is the most frequent flaw" if sure >= 0.95 else "is the most frequent flaw more likely than not"
        )
        if sure < 0.5:
            strength = "leads, with less than even odds of being the most frequent flaw"
        low, high = 100 * (share.low or 0.0), 100 * (share.high or 0.0)
        return (
            f"{most.label.replace('_', ' ').capitalize()} {strength} (probability {sure:.2f}): "
            f"{100 * (share.estimate or 0.0):.0f} % [{low:.0f}, {high:.0f}] of the flaws, "
            f"n = {whole.indications} indications."
        )


@dataclass(frozen=True, eq=False)
class Correction:
    """What every group is corrected with, or why none can be.

    Parameters
    ----------
    judged, confusion : optional
        Both None where there is no correction.
    missed : mapping of str to MissRate
    behaviour : Behaviour, optional
    why_not : str
    """

    judged: JudgedSections | None
    confusion: ConfusionDraws | None
    missed: Mapping[str, MissRate]
    behaviour: Behaviour | None
    why_not: str

    @property
    def bins(self) -> HeightBins:
        """In which production has to be counted."""
        return EVERY_HEIGHT if self.judged is None else self.judged.bins

    @property
    def known(self) -> tuple[str, ...]:
        """Truths with sections enough; none where there is no correction."""
        if self.judged is None:
            return ()
        sections = self.judged.counts.sections
        return tuple(label for label, n in zip(TRUTHS, sections, strict=True) if n >= MIN_SECTIONS)

    def mix_of(self, counts: GroupInput, rng: np.random.Generator) -> tuple[GroupMix, GroupDraws | None]:
        """Mix of one group."""
        return group_mix(counts, self.judged, self.confusion, self.missed, rng, why_not=self.why_not)


def counts_of(name: str, cells: Cells, own: Mask) -> GroupInput:
    """What the seams of the cells `own`, a bool array of shape (c,), showed."""
    answers = cells.answers[own]
    counts = GroupCounts(
        answers=answers.sum(axis=0),
        seams=int(cells.seams[own].sum()),
        metres=float(cells.metres[own].sum()),
        dispersion=dispersion_of(answers),
    )
    return GroupInput(name, counts, float(cells.parts[own].sum()), int(cells.smaller[own].sum()))


def correction_of(ws: Workspace, decided: Decided, rng: np.random.Generator) -> Correction:
    """Read the judged sections of the model that labelled, and test whether it still answers alike.

    Parameters
    ----------
    ws : Workspace
    decided : Decided
        Of seams on which the model was asked.
    rng : numpy.random.Generator
    """
    if decided.trial:
        return Correction(None, None, {}, None, "an unapproved model labelled, in a trial run")
    try:
        judged = judged_sections(ws, decided.record, seed=SEED)
    except SeamtellError as problem:
        return Correction(None, None, {}, None, str(problem))
    cells = decided.counted(bins=judged.bins).cells
    shown = cells.strata.sum(axis=0) / dispersion_of(cells.answers)
    behaviour = behaviour_of(judged, shown, decided.first_welded, rng)
    if behaviour.changed:
        return Correction(None, None, {}, behaviour, behaviour.words)
    confusion = draw_confusion(judged.counts, DRAWS, rng)
    return Correction(judged, confusion, _missed(ws, decided.record.model_id), behaviour, "")


def corrected_mix(ws: Workspace, decided: Decided, by: str = "") -> CorrectedMix:
    """Correct the mix of decisions, of the seams on which the model was asked.

    A trial run is never corrected.

    Raises
    ------
    BadInput
        An unknown column, or one with too many values.
    """
    rng, asked = np.random.default_rng(SEED), decided.of_asked()
    correction = correction_of(ws, asked, rng)
    mix = mix_by(asked.counted(by, correction.bins), correction, rng)
    return mix.model_copy(update={"seams_not_asked": len(decided.seams) - len(asked.seams)})


def mix_by(counted: CountedDecisions, correction: Correction, rng: np.random.Generator) -> CorrectedMix:
    """Mix of all counted seams, of every group of them, and each group against all other seams."""
    cells, record = counted.cells, counted.decided.record
    whole, _ = correction.mix_of(counts_of(ALL_SEAMS, cells, cells.all), rng)
    groups, own, rest = [whole], {}, {}
    for name in counted.groups:
        inside = cells.of(counted.by, name)
        mix, draws = correction.mix_of(counts_of(name, cells, inside), rng)
        groups.append(mix)
        others = counts_of(name, cells, ~inside).counts
        if draws is not None and correction.confusion is not None and others.indications:
            own[name] = (draws, mix.metres)
            rest[name] = (draw_group(others, correction.confusion, rng), others.metres)
    return CorrectedMix(
        decisions=str(counted.decided.folder),
        by=counted.by,
        model_id=record.model_id,
        deviation=deviation_of(record),
        trial=counted.decided.trial,
        level=LEVEL,
        seed=SEED,
        sections=_sections(correction.judged),
        behaviour=correction.behaviour,
        why_not=correction.why_not,
        groups=tuple(groups),
        contrasts=group_contrasts(own, rest, correction.known),
    )


def write_mix(mix: CorrectedMix, path: Path) -> None:
    """Write ``mix.json``.

    Raises
    ------
    StorageProblem
        The file cannot be written.
    """
    write_bytes_atomically(path, (mix.model_dump_json(indent=2) + "\n").encode("utf-8"))


def _sections(judged: JudgedSections | None) -> SectionsUsed:
    if judged is None:
        return SectionsUsed(
            sections={}, design="", words="", uncut_share=1.0, lowest_height_share=None, reference_seams=0
        )
    counts = judged.counts
    return SectionsUsed(
        sections=dict(zip(TRUTHS, counts.sections.tolist(), strict=True)),
        design=counts.design.value,
        words=counts.design.words,
        uncut_share=counts.uncut_share,
        lowest_height_share=judged.bins.lowest,
        reference_seams=judged.reference_seams,
    )


def _missed(ws: Workspace, model_id: str) -> dict[str, MissRate]:
    try:
        return {one.label: one for one in read_acceptance(ws.reports_dir / model_id).miss_rates}
    except SeamtellError:
        return {}

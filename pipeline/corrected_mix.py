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
from seamtell.pipeline.decisions.files import DecisionRecord, TrialRecord, newest_decisions, read_record
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
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.production.seam_facts import ALL_SEAMS, SeamFacts, seam_facts
from seamtell.pipeline.production.seam_tally import ANSWERS, SeamTally, tally_seams
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["CorrectedMix", "Correction", "corrected_mix", "correction_of", "counts_of", "write_mix"]

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
            strength = "leads by a little, and no flaw is likely the most frequent one"
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

    def mix_of(self, counts: GroupInput, rng: np.random.Generator) -> tuple[GroupMix, GroupDraws | None]:
        """Mix of one group."""
        return group_mix(counts, self.judged, self.confusion, self.missed, rng, why_not=self.why_not)


def counts_of(name: str, facts: SeamFacts, tally: SeamTally, seams: Mask, coils: Mask) -> GroupInput:
    """What some seams showed; `coils` are the pairs of group and coil that they make up."""
    by_coil = _by_answer(tally.by_coil[coils])
    counts = GroupCounts(
        answers=by_coil.sum(axis=0),
        seams=int(seams.sum()),
        metres=float(facts.metres[seams].sum()),
        dispersion=dispersion_of(by_coil),
    )
    return GroupInput(name, counts, parts=int(seams.sum()))


def _by_answer(by_stratum: NDArray[np.int64]) -> NDArray[np.int64]:
    """Indications below and above the limit together."""
    return np.asarray(by_stratum[:, : len(ANSWERS)] + by_stratum[:, len(ANSWERS) :])


def correction_of(
    ws: Workspace, record: DecisionRecord, facts: SeamFacts, tally: SeamTally, rng: np.random.Generator
) -> Correction:
    """Read the judged sections of the model that labelled, and test whether it still answers alike."""
    if isinstance(record, TrialRecord):
        return Correction(None, None, {}, None, "an unapproved model labelled, in a trial run")
    try:
        judged = judged_sections(ws, record, seed=SEED)
    except SeamtellError as problem:
        return Correction(None, None, {}, None, str(problem))
    shown = tally.by_coil.sum(axis=0) / dispersion_of(_by_answer(tally.by_coil))
    behaviour = behaviour_of(judged, shown, facts.welded_at.min(), rng)
    if behaviour.changed:
        return Correction(None, None, {}, behaviour, behaviour.words)
    confusion = draw_confusion(judged.counts, DRAWS, rng)
    return Correction(judged, confusion, _missed(ws, record.model_id), behaviour, "")


def corrected_mix(ws: Workspace, decisions: Path | None = None, by: str = "") -> CorrectedMix:
    """Correct the mix of a folder of decisions.

    Parameters
    ----------
    ws : Workspace
    decisions : Path, optional
        Default: the newest decisions. A trial run is only counted when named, and never corrected.
    by : str
        A metadata column, ``week`` or ``thickness_pair``; empty for one group.

    Raises
    ------
    BadInput
        No decisions, an unknown column or one with too many values, or a seam that the store lost.
    """
    folder = decisions or newest_decisions(ws)
    record = read_record(folder, trial=decisions is not None)
    facts = seam_facts(SeamStore(ws.traces_dir), read_limits(ws.limits_path), folder, by)
    tally = tally_seams(facts, folder, record)
    rng = np.random.default_rng(SEED)
    correction = correction_of(ws, record, facts, tally, rng)
    every_seam, every_coil = np.ones(len(facts), np.bool_), np.ones(len(tally.coil_group), np.bool_)
    whole, _ = correction.mix_of(counts_of(ALL_SEAMS, facts, tally, every_seam, every_coil), rng)
    groups, own, rest = [whole], {}, {}
    for place, name in enumerate(facts.group.names if by else ()):
        seams, coils = facts.group.codes == place, tally.coil_group == place
        mix, draws = correction.mix_of(counts_of(name, facts, tally, seams, coils), rng)
        groups.append(mix)
        others = counts_of(name, facts, tally, ~seams, ~coils).counts
        if draws is not None and correction.confusion is not None and others.indications:
            own[name] = (draws, mix.metres)
            rest[name] = (draw_group(others, correction.confusion, rng), others.metres)
    return CorrectedMix(
        decisions=str(folder),
        by=by,
        model_id=record.model_id,
        deviation=f"{record.model_id} was {record.deviation.sentence}" if record.deviation else "",
        trial=isinstance(record, TrialRecord),
        level=LEVEL,
        seed=SEED,
        sections=_sections(correction.judged),
        behaviour=correction.behaviour,
        why_not=correction.why_not,
        groups=tuple(groups),
        contrasts=group_contrasts(own, rest, _known(correction.judged)),
    )


def write_mix(mix: CorrectedMix, path: Path) -> None:
    """Write ``mix.json``.

    Raises
    ------
    StorageProblem
        The file cannot be written.
    """
    write_bytes_atomically(path, (mix.model_dump_json(indent=2) + "\n").encode("utf-8"))


def _known(judged: JudgedSections | None) -> tuple[str, ...]:
    """Truths with sections enough."""
    if judged is None:
        return ()
    return tuple(label for label, n in zip(TRUTHS, judged.counts.sections, strict=True) if n >= MIN_SECTIONS)


def _sections(judged: JudgedSections | None) -> SectionsUsed:
    if judged is None:
        return SectionsUsed(sections={}, design="", words="", uncut_share=1.0, reference_seams=0)
    counts = judged.counts
    return SectionsUsed(
        sections=dict(zip(TRUTHS, counts.sections.tolist(), strict=True)),
        design=counts.design.value,
        words=counts.design.words,
        uncut_share=counts.uncut_share,
        reference_seams=judged.reference_seams,
    )


def _missed(ws: Workspace, model_id: str) -> dict[str, MissRate]:
    try:
        return {one.label: one for one in read_acceptance(ws.reports_dir / model_id).miss_rates}
    except SeamtellError:
        return {}

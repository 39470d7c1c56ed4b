"""Drawing one plan: the informative cuts among the indications, the audit along the seams."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw, Purpose
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.drawing import inclusion_probabilities, systematic_draw
from seamtell.pipeline.cutting.frame import Frame, asks_of, known_so_far, looks_of
from seamtell.pipeline.cutting.worth import Ask, Known, Worth, worth_of
from seamtell.pipeline.store.planned_cuts import CutPlan, ExpectedSections, PlannedCut
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["LOOKED_AT", "Wish", "draw_plan"]

LOOKED_AT = 4000
"""Seams with indications whose descriptors are compared; of more, so many are drawn first."""


@dataclass(frozen=True)
class Wish:
    """What is asked of a plan."""

    plan_id: str
    budget: int
    random_share: float
    seed: int


def draw_plan(ws: Workspace, frame: Frame, wish: Wish, now: datetime) -> tuple[CutPlan, pd.DataFrame]:
    """Draw the cuts.

    Returns
    -------
    plan : CutPlan
    probabilities : DataFrame
        ``seam_id, indication, worth, selection_probability`` of every indication of the frame; the last
        is NaN for those that a first draw left out, which have none that is known.
    """
    rng = np.random.default_rng(wish.seed)
    n_random, notes = _random_cuts(frame, wish)
    asked, known = asks_of(frame), known_so_far(ws, frame)
    worth = worth_of(asked, known)
    chosen, probabilities = _informative(ws, frame, worth, wish.budget - n_random, rng)
    stem = f"P{wish.plan_id.removeprefix('cutplan-')}"
    cuts = [
        _planned_cut(frame, worth, i, float(probabilities[i]), f"{stem}-{number:03d}")
        for number, i in enumerate(chosen.tolist(), start=1)
    ]
    cuts += _audit(frame, n_random, stem, len(cuts), rng)
    table = frame.indications[["seam_id", "indication"]].assign(
        worth=worth.total, selection_probability=probabilities
    )
    expected = _expected(frame, asked, known, chosen)
    return _plan(ws, frame, wish, now, tuple(cuts), expected, notes), table


def _expected(
    frame: Frame, asked: Ask, known: Known, chosen: NDArray[np.int64]
) -> tuple[ExpectedSections, ...]:
    """What the informative cuts should bring; indications on which the model said nothing bring nothing."""
    counts = frame.sections["flaw"].value_counts()
    brought = np.nansum(asked.probabilities[chosen], axis=0)
    return tuple(
        ExpectedSections(
            label=flaw.value,
            so_far=int(counts.get(flaw.value, 0)),
            expected=round(float(brought[k]), 2),
            need=round(float(known.need[k]), 3),
        )
        for k, flaw in enumerate(Flaw)
    )


def _plan(
    ws: Workspace,
    frame: Frame,
    wish: Wish,
    now: datetime,
    cuts: tuple[PlannedCut, ...],
    expected: tuple[ExpectedSections, ...],
    notes: tuple[str, ...],
) -> CutPlan:
    record = frame.record
    return CutPlan(
        plan_id=wish.plan_id,
        planned_at=now.astimezone(UTC),
        software_version=software_version(),
        budget=wish.budget,
        random_share=wish.random_share,
        seed=wish.seed,
        decisions=_short(ws, frame.folder),
        model_id=record.model_id,
        model_digest=record.model_digest,
        input_digest=record.input_digest,
        seams=len(frame.seams),
        indications=len(frame.indications),
        expected=expected,
        notes=notes,
        cuts=cuts,
    )


def _short(ws: Workspace, folder: Path) -> str:
    return str(folder.relative_to(ws.root) if folder.is_relative_to(ws.root) else folder)


def _random_cuts(frame: Frame, wish: Wish) -> tuple[int, tuple[str, ...]]:
    """Cuts of the audit, and what a reader of the plan must know."""
    budget, share = wish.budget, wish.random_share
    notes = []
    n_random = round(budget * share)
    if share > 0 and budget >= 3:
        n_random = max(1, n_random)
    indicated = frame.indications["seam_id"].nunique()
    if budget - n_random > indicated:
        n_random = budget - indicated
        notes.append(f"only {indicated} seams with an indication are left: {n_random} cuts are random")
    if not n_random:
        notes.append("no random cut: how many flaws go unseen stays unknown")
    if not frame.record.model_digest:
        notes.append("no model labelled these seams: every indication counts as wholly unknown")
    return n_random, tuple(notes)


def _informative(
    ws: Workspace, frame: Frame, worth: Worth, n: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Indications to cut, and the probability of every indication of the frame.

    Of more than `LOOKED_AT` seams so many are drawn first, by worth; the probabilities of the two
    draws multiply.
    """
    rows = frame.indications
    if n == 0:
        return np.empty(0, dtype=np.int64), np.zeros(len(rows))
    names, seam = np.unique(rows["seam_id"].to_numpy(str), return_inverse=True)
    best = np.zeros(len(names))
    np.maximum.at(best, seam, worth.total)
    looked_at = max(LOOKED_AT, n)
    if len(names) <= looked_at:
        first = np.ones(len(names))
        here = np.arange(len(rows))
    else:
        first = inclusion_probabilities(best, looked_at)
        places, _ = systematic_draw(first, looked_at, rng)
        here = np.flatnonzero(np.isin(seam, places))
    looks = looks_of(ws, rows.iloc[here].reset_index(drop=True))
    # What was likely to come this far owes nothing more to its worth.
    choice = choose_indications(looks, worth.total[here] / first[seam[here]], n, rng)
    probabilities = np.full(len(rows), np.nan)
    probabilities[here] = first[seam[here]] * choice.probabilities
    return here[choice.chosen], probabilities


def _planned_cut(frame: Frame, worth: Worth, i: int, probability: float, section_id: str) -> PlannedCut:
    row = frame.indications.iloc[i]
    return PlannedCut(
        section_id=section_id,
        seam_id=str(row["seam_id"]),
        purpose=Purpose.PLANNED,
        position_mm=round(float(row["peak_mm"]), 1),
        place_start_mm=float(row["start_mm"]),
        place_end_mm=float(row["end_mm"]),
        indication=int(row["indication"]),
        selection_probability=min(1.0, probability),
        worth=round(float(worth.total[i]), 4),
        label=str(row["label"]),
        line=str(row["line"]),
        recipe=str(row["recipe"]),
        coil=str(row["coil"] or ""),
        reason=worth.main_reasons(i),
    )


def _audit(frame: Frame, n: int, stem: str, before: int, rng: np.random.Generator) -> list[PlannedCut]:
    """Points at random along all seams, spread over lines, recipes and time by their order."""
    if n == 0:
        return []
    lengths = frame.seams["length_mm"].to_numpy(float)
    places, within = systematic_draw(lengths, n, rng)
    cuts = []
    for number, (place, offset) in enumerate(zip(places.tolist(), within.tolist(), strict=True), start=1):
        seam = frame.seams.iloc[place]
        position = round(float(seam["start_mm"]) + offset, 1)
        cuts.append(
            PlannedCut(
                section_id=f"{stem}-{before + number:03d}",
                seam_id=str(seam["seam_id"]),
                purpose=Purpose.RANDOM,
                position_mm=position,
                place_start_mm=position,
                place_end_mm=position,
                indication=None,
                selection_probability=min(1.0, n * lengths[place] / lengths.sum()),
                worth=None,
                label="",
                line=str(seam["line"]),
                recipe=str(seam["recipe"]),
                coil=str(seam["coil"] or ""),
                reason="random audit: shows what goes unseen",
            )
        )
    return cuts

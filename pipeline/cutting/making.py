"""The stage *cutplan*: what to section next within a budget."""

from __future__ import annotations

import shutil
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Purpose
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.drawing import inclusion_probabilities, systematic_draw
from seamtell.pipeline.cutting.form import form_csv, plan_csv
from seamtell.pipeline.cutting.frame import Frame, asks_of, known_so_far, looks_of, read_frame
from seamtell.pipeline.cutting.sheet import cut_sheets
from seamtell.pipeline.cutting.worth import Worth, worth_of
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import (
    TEMPORARY_PREFIX,
    flush_folder,
    make_folder,
    storage_errors,
    write_bytes_atomically,
    write_table_atomically,
)
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.store.planned_cuts import PLAN_FILE, CutPlan, PlannedCut
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "FORM_FILE",
    "LOOKED_AT",
    "PLAN_TABLE_FILE",
    "PROBABILITIES_FILE",
    "RANDOM_SHARE",
    "SHEETS_FILE",
    "CutPlanResult",
    "make_cut_plan",
]

RANDOM_SHARE = 0.2
"""Part of the budget that is drawn along the seams without looking at anything."""
LOOKED_AT = 4000
"""Seams with indications whose descriptors are compared; of more, so many are drawn first."""
PLAN_TABLE_FILE = "plan.csv"
FORM_FILE = "form.csv"
SHEETS_FILE = "cutsheets.html"
PROBABILITIES_FILE = "probabilities.parquet"
_FOLDER_TEMPORARY = f"{TEMPORARY_PREFIX}cutplan-"


@dataclass(frozen=True)
class CutPlanResult:
    """A plan and where it lies.

    Parameters
    ----------
    folder : Path
    plan : CutPlan
    """

    folder: Path
    plan: CutPlan

    @property
    def form(self) -> Path:
        """The form to fill in and to hand to ``seamtell sections add``."""
        return self.folder / FORM_FILE


def make_cut_plan(
    ws: Workspace,
    budget: int,
    *,
    now: datetime,
    seed: int = 1,
    random_share: float = RANDOM_SHARE,
    decisions: Path | None = None,
) -> CutPlanResult:
    """Draw a plan and write it, with its cut sheets and its form, into a new folder.

    Equal workspace, budget and seed give the same cuts.

    Parameters
    ----------
    budget : int
        Sections.
    now : datetime
        Timezone-aware; only recorded.
    seed : int
    random_share : float
        Part of the budget for the random audit, 0 to 1.
    decisions : Path, optional
        Folder of decisions; default: the newest.

    Raises
    ------
    BadInput
        A budget of nothing or beyond the seams, no decisions yet, or nothing left to cut.
    WorkspaceBusy, StorageProblem
        Nothing was planned.
    """
    if budget < 1:
        raise BadInput(f"got a budget of {budget}, expected at least 1 section", where="--budget")
    if not 0 <= random_share <= 1:
        raise BadInput(f"got a random share of {random_share:g}, expected 0 to 1", where="--random-share")
    if seed < 0:
        raise BadInput(f"got seed {seed}, expected 0 or more", where="--seed")
    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        frame = read_frame(ws, decisions)
        if budget > len(frame.seams):
            raise BadInput(
                f"got a budget of {budget}, but only {len(frame.seams)} seams are not cut yet",
                where="--budget",
                do=f"say --budget {len(frame.seams)} or less, or classify newer seams first",
            )
        plan_id = _next_plan_id(ws)
        plan, probabilities = _draw(ws, frame, plan_id, budget, random_share, seed, now)
        folder = _write(ws, settings, frame, plan, probabilities)
    return CutPlanResult(folder, plan)


def _next_plan_id(ws: Workspace) -> str:
    taken = [path.name.removeprefix("cutplan-") for path in ws.cut_plans_dir.glob("cutplan-*")]
    return f"cutplan-{max((int(name) for name in taken if name.isdigit()), default=0) + 1:04d}"


def _draw(
    ws: Workspace,
    frame: Frame,
    plan_id: str,
    budget: int,
    random_share: float,
    seed: int,
    now: datetime,
) -> tuple[CutPlan, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    n_random, notes = _random_cuts(frame, budget, random_share)
    worth = worth_of(asks_of(frame), known_so_far(ws, frame))
    chosen, probabilities = _informative(ws, frame, worth, budget - n_random, rng)
    stem = f"P{plan_id.removeprefix('cutplan-')}"
    cuts = [
        _planned_cut(frame, worth, i, float(probabilities[i]), f"{stem}-{number:03d}")
        for number, i in enumerate(chosen.tolist(), start=1)
    ]
    cuts += _audit(frame, n_random, stem, len(cuts), rng)
    record = frame.record
    plan = CutPlan(
        plan_id=plan_id,
        planned_at=now.astimezone(UTC),
        software_version=software_version(),
        budget=budget,
        random_share=random_share,
        seed=seed,
        decisions=_short(ws, frame.folder),
        model_id=record.model_id,
        model_digest=record.model_digest,
        input_digest=record.input_digest,
        seams=len(frame.seams),
        indications=len(frame.indications),
        notes=notes,
        cuts=tuple(cuts),
    )
    table = frame.indications[["seam_id", "indication"]].assign(
        worth=worth.total, selection_probability=probabilities
    )
    return plan, table


def _short(ws: Workspace, folder: Path) -> str:
    return str(folder.relative_to(ws.root) if folder.is_relative_to(ws.root) else folder)


def _random_cuts(frame: Frame, budget: int, share: float) -> tuple[int, tuple[str, ...]]:
    """Cuts of the audit, and what a reader of the plan must know."""
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


def _write(
    ws: Workspace, settings: Settings, frame: Frame, plan: CutPlan, probabilities: pd.DataFrame
) -> Path:
    """Write everything into a folder of another name, then give it its own: a plan is whole or not there."""
    make_folder(ws.cut_plans_dir)
    with storage_errors(ws.cut_plans_dir):
        for left in ws.cut_plans_dir.glob(f"{_FOLDER_TEMPORARY}*"):
            shutil.rmtree(left)
    unfinished = ws.cut_plans_dir / f"{_FOLDER_TEMPORARY}{uuid.uuid4().hex}"
    write_table_atomically(probabilities, unfinished / PROBABILITIES_FILE)
    write_bytes_atomically(unfinished / PLAN_TABLE_FILE, plan_csv(plan))
    write_bytes_atomically(unfinished / FORM_FILE, form_csv(plan))
    page = cut_sheets(plan, frame.store, frame.limits, settings)
    write_bytes_atomically(unfinished / SHEETS_FILE, page.encode("utf-8"))
    write_bytes_atomically(unfinished / PLAN_FILE, plan.to_json())
    folder = ws.cut_plans_dir / plan.plan_id
    with storage_errors(folder):
        unfinished.rename(folder)
        flush_folder(ws.cut_plans_dir)
    return folder

"""The stage *cutplan*: what to section next within a budget."""

from __future__ import annotations

import shutil
import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pandas as pd

from seamtell.pipeline.cutting.drawn_plan import Wish, draw_plan
from seamtell.pipeline.cutting.form import form_csv, plan_csv
from seamtell.pipeline.cutting.frame import Frame, read_frame
from seamtell.pipeline.cutting.sheet import cut_sheets
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
from seamtell.pipeline.store.planned_cuts import PLAN_FILE, CutPlan
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "FORM_FILE",
    "PLAN_TABLE_FILE",
    "PROBABILITIES_FILE",
    "RANDOM_SHARE",
    "SHEETS_FILE",
    "CutPlanResult",
    "make_cut_plan",
]

RANDOM_SHARE = 0.2
"""Part of the budget that is drawn along the seams without looking at anything."""
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
        raise BadInput(
            f"got a budget of {budget}, expected at least 1 section", where="--budget", do="say --budget 10"
        )
    if not 0 <= random_share <= 1:
        raise BadInput(
            f"got a random share of {random_share:g}, expected 0 to 1",
            where="--random-share",
            do=f"leave it away for {RANDOM_SHARE:g}",
        )
    if seed < 0:
        raise BadInput(f"got seed {seed}, expected 0 or more", where="--seed", do="say --seed 1")
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
        wish = Wish(plan_id, budget, random_share, seed)
        plan, probabilities = draw_plan(ws, frame, wish, now)
        folder = _write(ws, settings, frame, plan, probabilities)
    return CutPlanResult(folder, plan)


def _next_plan_id(ws: Workspace) -> str:
    taken = [path.name.removeprefix("cutplan-") for path in ws.cut_plans_dir.glob("cutplan-*")]
    return f"cutplan-{max((int(name) for name in taken if name.isdigit()), default=0) + 1:04d}"


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

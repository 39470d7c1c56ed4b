"""A plant that trained and approved a model, and then works for a year."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from plant.year import InventedYear, write_runs
from seamtell.data_synth.plant_year import eventful_year, year_before
from seamtell.data_synth.shop_plan import ShopPlan, limits_text
from seamtell.pipeline.approve import approve
from seamtell.pipeline.classify import classify
from seamtell.pipeline.describe import describe
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.health.drift import drift, restart_drift
from seamtell.pipeline.health.drift_state import DriftLevel, DriftState
from seamtell.pipeline.health.refcheck import measured_blank, refcheck
from seamtell.pipeline.health.summary import health_document
from seamtell.pipeline.implant import implant
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.physics.calibrate import calibrate
from seamtell.pipeline.process_page.view import ProcessView
from seamtell.pipeline.process_report import make_process_page
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.synth import synth
from seamtell.pipeline.train import TrainPhysics, train
from seamtell.pipeline.workspace import Workspace

__all__ = ["Lived", "live_a_year", "prepare_plant"]

CHECK_HOURS = 24.0 * 8
"""The blank is run every week."""
RESTART_WEEKS = (2, 36)
"""After which a person begins the drift sequence anew: the year's start, and after the head was mended."""
_BY = "P. Example, process engineer (invented)"


@dataclass(frozen=True)
class Lived:
    """What a year left behind.

    Parameters
    ----------
    view : ProcessView
    mended : dict
        Health as it stood when the head was mended, before the restart.
    restarts : tuple of str
        Lines whose sequence was begun anew then.
    drift : DriftState
    decisions : Path
    """

    view: ProcessView
    mended: dict[str, Any]
    restarts: tuple[str, ...]
    drift: DriftState
    decisions: Path


def prepare_plant(folder: Path, seed: int, tell: Callable[[str], None]) -> Path:
    """Train and approve a model on a half year before, invented from `seed`; its workspace."""
    building = folder / "building"
    shutil.rmtree(building, ignore_errors=True)
    plan = year_before()
    tell("invent the half year before")
    shop = synth(building / "shop", seams=3600, seed=seed, sections=900, plan=plan)
    ws = init_workspace(building / "workspace")
    text = ws.settings_path.read_text(encoding="utf-8")
    text = text.replace('shop = ""', 'shop = "Marram Bay Carriage Works (invented)"', 1)
    ws.settings_path.write_text(_with_weekly_checks(text), encoding="utf-8")
    # The limits hold every recipe from the start: other limits would need another approval.
    ws.limits_path.write_text(limits_text(eventful_year()[0]), encoding="utf-8")
    shutil.copyfile(shop.physics_path, ws.physics_path)
    shutil.copyfile(shop.profile_path, ws.profiles_dir / "line_l1.toml")
    ingest(ws, [shop.traces_dir], "line_l1")
    ingest(ws, [shop.parquet_path], "default")
    now = plan.start + timedelta(days=plan.days)
    for runs in sorted(path for path in shop.reference_dir.iterdir() if path.is_dir()):
        files = sorted(runs.glob("*.csv"))
        calibrate(ws, shop.blank_path, files, runs.name, profile="default", now=now)
        # The checks of the year expect what these runs gave.
        blank = measured_blank(ws, shop.blank_path, files, runs.name, profile="default")
        (ws.root / f"blank_{runs.name}.toml").write_text(blank, encoding="utf-8")
    tell("train, evaluate, approve")
    implant(ws, per_class=200, workers=2, now=now)
    add_sections(ws, shop.sections_path)
    describe(ws)
    model = train(ws, physics=TrainPhysics.IMPLANTED, now=now).model_id
    evaluate(ws, model, now=now)
    approve(ws, model, by=_BY, reason="an invented year", now=now)
    shutil.rmtree(building / "shop")
    return ws.root


def _with_weekly_checks(settings: str) -> str:
    lines = settings.splitlines()
    where = next(k for k, line in enumerate(lines) if line.startswith("check_within_hours"))
    lines[where] = f"check_within_hours = {CHECK_HOURS}"
    return "\n".join(lines) + "\n"


def live_a_year(
    workspace: Path, seed: int, plan: ShopPlan, year: InventedYear, tell: Callable[[str], None]
) -> Lived:
    """Take the year in as it comes, check the instrument every week, and look back at the end of it.

    `workspace` is that of `prepare_plant` with the same `seed`; the blank of the checks is the one it knows.
    """
    ws = Workspace(workspace)
    runs = list(write_runs(workspace / "runs", plan, seed, len(year.files), "YEAR"))
    done, restarts, mended = 0, (), {}
    for until in (*RESTART_WEEKS, len(year.files)):
        end = plan.start + timedelta(weeks=until)
        tell(f"weeks {done + 1} to {until}")
        ingest(ws, year.files[done:until], "default")
        for run, path in sorted(runs, key=lambda one: one[0].welded_at):
            if plan.start + timedelta(weeks=done) <= run.welded_at < end:
                refcheck(ws, ws.root / f"blank_{run.line}.toml", [path], run.line, profile="default", now=end)
        state = drift(ws, now=end).state
        done = until
        if until == RESTART_WEEKS[0]:
            restart_drift(ws, by=_BY, reason="the year before is no measure for this one", now=end)
        elif until != len(year.files):
            mended = health_document(ws)
            restarts = tuple(line for line, own in state.lines.items() if own.level is DriftLevel.SUSPEND)
            for line in restarts:
                restart_drift(ws, by=_BY, reason="the head was mended", line=line, now=end)
    end = plan.start + timedelta(weeks=len(year.files))
    tell("classify the year, and gather the page")
    decisions = classify(ws, since=plan.start, now=end).folder
    report = make_process_page(ws, decisions, now=end)
    return Lived(report.view, mended, restarts, state, decisions)

"""The whole job on an invented shop, from traces and sections to decisions, in one call."""

from __future__ import annotations

import re
import resource
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from seamtell.pipeline.approve import ApprovalRefused, ApprovalResult, approve
from seamtell.pipeline.ceiling import Ceiling, shop_ceiling
from seamtell.pipeline.classify import ClassifyResult, classify
from seamtell.pipeline.cutting.making import SHEETS_FILE, make_cut_plan
from seamtell.pipeline.day_one import DayOne, day_one_score
from seamtell.pipeline.demo_plan import DemoPlan
from seamtell.pipeline.describe import describe
from seamtell.pipeline.dossier.making import make_dossier
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.health.drift import drift
from seamtell.pipeline.health.refcheck import measured_blank, refcheck
from seamtell.pipeline.implant import ImplantResult, implant
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.mix import MixResult, flaw_mix, write_mix_csv
from seamtell.pipeline.physics.calibrate import calibrate
from seamtell.pipeline.process_report import make_process_page
from seamtell.pipeline.production_page import write_production_page
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.synth import SynthResult, synth
from seamtell.pipeline.tracking.evaluation_run import track_evaluation
from seamtell.pipeline.train import TrainPhysics, TrainResult, train
from seamtell.pipeline.workspace import Workspace

__all__ = ["DemoResult", "StageCost", "free_folder", "run_demo"]

_SIGNED_BY = "R. Example, quality engineer (invented)"
_SHOP = "Marram Bay Carriage Works (invented)"
_CEILING_SEED_STEP = 1000
_CHECK_HOURS = 24.0 * 8
"""The invented shop checks its heads every week; a day late is no reason to suspend labels."""


@dataclass(frozen=True)
class StageCost:
    """Wall time of one stage, and the peak memory of this process when it ended."""

    name: str
    seconds: float
    peak_mib: float


@dataclass(frozen=True)
class DemoResult:
    """Everything that the demo made.

    Parameters
    ----------
    approval : ApprovalResult or None
    implanted : ImplantResult
        Simulated flaws in the shop's own seams.
    day_one : DayOne
        What simulation alone would have told.
    refusal : str
        Why the model was not approved, and then the limit rule decided alone; else empty.
    ceiling : Ceiling or None
    reports : tuple of Path
        To open, the most telling first.
    """

    folder: Path
    workspace: Workspace
    shop: SynthResult
    implanted: ImplantResult
    day_one: DayOne
    training: TrainResult
    evaluation: EvaluationResult
    approval: ApprovalResult | None
    refusal: str
    decisions: ClassifyResult
    mix: MixResult
    ceiling: Ceiling | None
    reports: tuple[Path, ...]
    costs: tuple[StageCost, ...]


@dataclass
class _Clock:
    tell: Callable[[str], None]
    costs: list[StageCost] = field(default_factory=list)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        self.tell(name)
        start = time.perf_counter()
        yield
        # Linux states the peak in KiB.
        peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        self.costs.append(StageCost(name, time.perf_counter() - start, peak_mib))


def free_folder(folder: Path) -> Path:
    """`folder` itself, or the first of ``folder-2``, ``folder-3``, … that is not taken.

    An earlier demo may hold what its user added to it, so it is never overwritten.
    """
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return folder
    for number in range(2, 1000):
        other = folder.with_name(f"{folder.name}-{number}")
        if not other.exists():
            return other
    raise BadInput(
        "a thousand demos lie here", where=str(folder.parent), do="remove some, or name another folder"
    )


def run_demo(
    folder: Path, plan: DemoPlan | None = None, *, now: datetime, tell: Callable[[str], None] = lambda _: None
) -> DemoResult:
    """Invent a shop in `folder`, and do with it what a real shop would.

    Parameters
    ----------
    folder : Path
        Empty or not there yet, see `free_folder`.
    now : datetime
        Timezone-aware.
    tell : callable
        Told the name of every stage as it begins.

    Raises
    ------
    SeamtellError
        What any of the stages raises.
    """
    plan = plan or DemoPlan()
    clock = _Clock(tell)
    with clock.stage("invent the shop"):
        shop = synth(folder / "shop", seams=plan.seams, seed=plan.seed, sections=plan.sections)
    with clock.stage("ingest traces"):
        ws = _workspace_of(folder / "workspace", shop)
    with clock.stage("fit each head to its reference blank"):
        _calibrate(ws, shop, now)
    with clock.stage("put simulated flaws into recorded sound seams"):
        implanted = implant(ws, per_class=plan.implanted_per_class, workers=plan.workers, now=now)
    with clock.stage("train on them alone: a trial model before the first section"):
        first = train(ws, physics=TrainPhysics.IMPLANTED, now=now)
    with clock.stage("add sections, describe every indication"):
        add_sections(ws, shop.sections_path)
        describe(ws)
    with clock.stage("train"):
        training = train(ws, physics=TrainPhysics.IMPLANTED, now=now)
    with clock.stage("evaluate"):
        evaluation = evaluate(ws, training.model_id, now=now)
        day_one = day_one_score(ws, first.model_id, training.model_id)
        track_evaluation(ws, read_settings(ws.settings_path), evaluation, now=now)
    with clock.stage("approve"):
        approval, refusal = _sign(ws, training.model_id, now)
    with clock.stage("make the dossier"):
        dossier = make_dossier(ws, training.model_id, now=now)
    with clock.stage("check each head against its blank week by week, look for drift"):
        _check_heads(ws, shop, now)
        drift(ws, now=now)
    with clock.stage("look back on the half year: next cuts, process page"):
        history = ws.decisions_dir / classify(ws, now=now).folder.name
        cuts = make_cut_plan(ws, plan.cuts, now=now)
        process = make_process_page(ws, history, now=now)
    with clock.stage("classify the newest month"):
        # A folder of decisions is named by the second; the newest one is what other commands read.
        decisions = classify(ws, since=_newest_month(ws), now=now + timedelta(seconds=1))
        decided = ws.decisions_dir / decisions.folder.name
        mix = flaw_mix(ws, decided, by="line")
        write_mix_csv(mix, ws.reports_dir / "mix.csv")
        production = write_production_page(ws, decided, ws.reports_dir / "newest_month.html")
    ceiling = None
    if plan.ceiling_sections:
        with clock.stage("ceiling: the same candidate with all the sections one could wish for"):
            ceiling = shop_ceiling(
                ws,
                training.model_id,
                seed=plan.seed + _CEILING_SEED_STEP,
                sections=plan.ceiling_sections,
                workers=plan.workers,
            )
    return DemoResult(
        folder=folder,
        workspace=ws,
        shop=shop,
        implanted=implanted,
        day_one=day_one,
        training=training,
        evaluation=evaluation,
        approval=approval,
        refusal=refusal,
        decisions=decisions,
        mix=mix,
        ceiling=ceiling,
        reports=(
            dossier.folder / "dossier.html",
            dossier.folder / "dossier.pdf",
            ws.reports_dir / training.model_id / "evaluation.html",
            production,
            process.path,
            cuts.folder / SHEETS_FILE,
            ws.reports_dir / "mix.csv",
        ),
        costs=tuple(clock.costs),
    )


def _workspace_of(folder: Path, shop: SynthResult) -> Workspace:
    """Make a workspace, take over limits, theory and input profile, and ingest both kinds of trace files."""
    ws = init_workspace(folder)
    _enter_settings(ws)
    shutil.copyfile(shop.limits_path, ws.limits_path)
    shutil.copyfile(shop.physics_path, ws.physics_path)
    shutil.copyfile(shop.profile_path, ws.profiles_dir / "line_l1.toml")
    ingest(ws, [shop.traces_dir], "line_l1")
    ingest(ws, [shop.parquet_path], "default")
    return ws


def _enter_settings(ws: Workspace) -> None:
    """Enter the shop's name, which reports print, and that its heads are checked once a week."""
    text = ws.settings_path.read_text(encoding="utf-8")
    for old, new in (
        (r'^shop = ""$', f'shop = "{_SHOP}"'),
        (r"^check_within_hours = .*$", f"check_within_hours = {_CHECK_HOURS}"),
    ):
        text, found = re.subn(old, new, text, flags=re.MULTILINE)
        if found != 1:
            raise AssertionError(f"{old} is in the new settings {found} times")
    ws.settings_path.write_text(text, encoding="utf-8")


def _calibrate(ws: Workspace, shop: SynthResult, now: datetime) -> None:
    """Fit the head of every line that ran the reference blank."""
    for runs in sorted(path for path in shop.reference_dir.iterdir() if path.is_dir()):
        files = sorted(runs.glob("*.csv"))
        calibrate(ws, shop.blank_path, files, runs.name, profile="default", now=now)


def _check_heads(ws: Workspace, shop: SynthResult, now: datetime) -> None:
    """Check the weekly runs of every line against what the runs gave that its head was fitted with."""
    for runs in sorted(shop.checks_dir.iterdir()):
        line, good = runs.name, sorted((shop.reference_dir / runs.name).glob("*.csv"))
        blank = ws.root / f"blank_{line}.toml"
        text = measured_blank(ws, shop.blank_path, good, line, profile="default")
        blank.write_text(text, encoding="utf-8")
        refcheck(ws, blank, sorted(runs.glob("*.csv")), line, profile="default", now=now)


def _sign(ws: Workspace, model_id: str, now: datetime) -> tuple[ApprovalResult | None, str]:
    """Approve, or say why not: a small invented shop may well not meet the criteria."""
    try:
        return approve(ws, model_id, by=_SIGNED_BY, reason="demonstration on an invented shop", now=now), ""
    except ApprovalRefused as refused:
        return None, str(refused)


def _newest_month(ws: Workspace) -> datetime:
    newest: datetime = SeamStore(ws.traces_dir).metadata()["welded_at"].max().to_pydatetime()
    return newest.replace(day=1, hour=0, minute=0, second=0, microsecond=0)

"""A small made-up shop: Gaussian bumps on a flat seam, cheap and easy to tell apart.

Not physical: these tests are about stages and files, not about figures.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from seamtell.features.contracts import Flaw, SeamTrace
from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.labelled import load_labelled
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.physics import simulated_sections
from seamtell.pipeline.settings import evaluation_settings_digest, read_settings
from seamtell.pipeline.sign_off.approval_log import Action, SignOff, append_entry
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.tracking import runs as tracking
from seamtell.pipeline.train import TrainResult, train
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)
CLASSES = tuple(flaw.value for flaw in Flaw)
N_SEAMS = 130
LENGTH_MM = 300


def bumped_trace(number: int, rng: np.random.Generator) -> tuple[SeamTrace, str, float]:
    """Seam `number` with one flaw (or none), its class and position."""
    x = np.arange(LENGTH_MM, dtype=float)
    centre = float(rng.uniform(90, 210))
    label = CLASSES[number % 5] if number % 13 else ""
    specular = 7.0 + rng.normal(0, 0.15, LENGTH_MM)
    scatter = 0.6 + rng.normal(0, 0.1, LENGTH_MM)

    def bump(height: float, at: float = centre, wide: float = 3.8) -> np.ndarray:
        return height * np.exp(-0.5 * ((x - at) / wide) ** 2)

    def plateau(height: float, half: float) -> np.ndarray:
        return height * 0.5 * (np.tanh((x - centre + half) / 4) - np.tanh((x - centre - half) / 4))

    size = float(rng.uniform(0.7, 1.4))
    if label == "pinhole":
        specular, scatter = specular + bump(4 * size), scatter + bump(9 * size)
    elif label == "edge_notch":
        specular, scatter = specular + bump(12 * size), scatter + bump(6 * size)
    elif label == "lack_of_fusion":
        half = 14 * size
        ends = bump(7 * size, centre - half) + bump(7 * size, centre + half)
        specular, scatter = specular + plateau(30 * size, half), scatter + ends
    elif label == "mismatch":
        specular, scatter = specular + plateau(9 * size, 40 * size), scatter + bump(1.5, centre - 40 * size)
    elif label == "sound":
        specular, scatter = specular + bump(3 * size, wide=2.0), scatter + bump(3 * size, wide=1.5)
    trace = SeamTrace(
        seam_id=f"S{number:04d}",
        welded_at=datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=18 * number),
        line=f"L{number % 2 + 1}",
        recipe="R1",
        start_mm=0.0,
        pitch_mm=1.0,
        amplitudes_pct={
            "specular": np.clip(specular, 0, 100).astype(np.float32),
            "scatter": np.clip(scatter, 0, 100).astype(np.float32),
        },
        coil=f"C{number // 3:03d}",
        shift="early" if number % 2 else "late",
        thickness_a_mm=1.5,
        thickness_b_mm=1.3,
        extra={"operator": "=HYPERLINK(1)" if number % 2 else "B"},
    )
    return trace, label, centre


def make_shop(folder: Path, limits: str) -> Workspace:
    """A workspace with seams and sections, not yet trained."""
    ws = init_workspace(folder)
    ws.limits_path.write_text(limits)
    ws.settings_path.write_text(ws.settings_path.read_text().replace("\nfolds = 5\n", "\nfolds = 3\n"))
    rng = np.random.default_rng(20260101)
    writer = StoreWriter(ws.traces_dir)
    rows = []
    for number in range(N_SEAMS):
        trace, label, centre = bumped_trace(number, rng)
        writer.add(trace, "made in the test")
        if label:
            side = "na" if label in ("sound", "mismatch") else "top"
            length = "" if label == "sound" else "5"
            rows.append(
                f"X{number:04d},{trace.seam_id},{centre:.1f},2,{label},{side},,{length},,targeted,A,2026-05-01,"
            )
    writer.commit()
    table = folder / "sections_in.csv"
    head = (
        "section_id,seam_id,position_mm,position_tol_mm,flaw,side,depth_mm,length_mm,width_mm,"
        "purpose,examiner,sectioned_on,note"
    )
    table.write_text("\n".join([head, *rows]) + "\n")
    report = add_sections(ws, table)
    assert not report.rejected
    table.unlink()
    return ws


def sign(ws: Workspace, model_id: str, digest: str) -> None:
    """Approve a model without looking at any criterion, under the limits and settings of the workspace."""
    entry = SignOff(
        action=Action.APPROVE,
        time=NOW,
        by="A. Tester",
        reason="for a test",
        model_id=model_id,
        model_digest=digest,
        sections_digest="",
        limits_digest=read_limits(ws.limits_path).digest,
        criteria_digest="",
        evaluation_digest="",
        software_version="0",
        settings_digest=evaluation_settings_digest(read_settings(ws.settings_path)),
    )
    append_entry(ws, entry)


@pytest.fixture(autouse=True)
def _no_tracking_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("MLFLOW_TRACKING_URI", raising=False)


@pytest.fixture(scope="session")
def now() -> datetime:
    """The moment at which the tests train and classify."""
    return NOW


@pytest.fixture
def quick_settings() -> Callable[[Workspace], None]:
    """Set a workspace to train fast, with the two simplest candidates."""

    def set_quick(ws: Workspace) -> None:
        text = ws.settings_path.read_text()
        kept = [line for line in text.splitlines() if not line.startswith(("candidates", "folds"))]
        place = kept.index("[train]") + 1
        kept[place:place] = ['candidates = ["prior", "hand_rule"]', "folds = 3"]
        ws.settings_path.write_text("\n".join(kept) + "\n")

    return set_quick


@pytest.fixture(scope="session")
def untrained_shop(tmp_path_factory: pytest.TempPathFactory, wide_limits: str) -> Workspace:
    """A shop with seams and sections; do not change it."""
    return make_shop(tmp_path_factory.mktemp("shop with a space") / "ws", wide_limits)


@pytest.fixture(scope="session")
def trained(
    untrained_shop: Workspace, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Workspace, TrainResult]:
    """A copy of the shop with one trained and approved model; do not change it.

    The training run waits in the outbox.
    """
    folder = tmp_path_factory.mktemp("trained shop") / "ws"
    shutil.copytree(untrained_shop.root, folder)
    ws = Workspace(folder)
    with pytest.MonkeyPatch.context() as patch:
        # Sending is slow and has its own tests; the run stays in the outbox.
        patch.setattr(tracking, "push", lambda *_: None)
        result = train(ws, now=NOW)
    sign(ws, result.model_id, result.digest)
    return ws, result


@pytest.fixture
def untrained_copy(untrained_shop: Workspace, tmp_path: Path) -> Workspace:
    """A copy of the shop that has no model, to be changed at will."""
    shutil.copytree(untrained_shop.root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


@pytest.fixture
def approve_quietly() -> Callable[[Workspace, str, str], None]:
    """Sign a model off without looking at any criterion."""
    return sign


@pytest.fixture
def make_trace() -> Callable[[int], tuple[SeamTrace, str, float]]:
    """Make one more seam of the shop by its number."""
    return lambda number: bumped_trace(number, np.random.default_rng(number))


@pytest.fixture
def shop_copy(trained: tuple[Workspace, TrainResult], tmp_path: Path) -> Workspace:
    """A copy of the approved shop, to be changed at will; its training run waits in the outbox."""
    folder = tmp_path / "ws"
    shutil.copytree(trained[0].root, folder)
    return Workspace(folder)


@pytest.fixture
def physics_table(untrained_shop: Workspace) -> SimulatedTable:
    """Flaws like those of the shop, with noise on their descriptors: what a simulation would give."""
    table = load_labelled(untrained_shop, read_settings(untrained_shop.settings_path)).table
    rng = np.random.default_rng(4)
    rows = np.tile(np.arange(len(table)), 2)
    spread = table.values.std(axis=0)
    return SimulatedTable(
        values=table.values[rows] + 0.05 * spread * rng.normal(size=(len(rows), len(table.names))),
        names=table.names,
        truths=table.truths[rows],
        groups=np.array([f"host:{i // 2:04d}" for i in range(len(rows))]),
        recipes=table.recipes[rows],
        sizes_mm=np.full(len(rows), 5.0),
        schema_digest=table.schema_digest,
        origin="implanted",
        theory_version="1",
        physics_digest="digest of the physics file",
    )


@pytest.fixture
def with_physics(physics_table: SimulatedTable, monkeypatch: pytest.MonkeyPatch) -> SimulatedTable:
    """Let every workspace have simulated flaws; making them has its own tests."""
    monkeypatch.setattr(simulated_sections, "load_simulated", lambda ws, origin: physics_table)
    return physics_table


@pytest.fixture
def without_sections(untrained_copy: Workspace) -> Workspace:
    """The shop on day one: seams, limits, and not one section."""
    shutil.rmtree(untrained_copy.sections_dir)
    return untrained_copy

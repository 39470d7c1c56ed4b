"""A short reference blank and runs of it under a head whose truth is known; all simulated."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from seamtell.data_synth.flaws import FlawGeometry, moved
from seamtell.data_synth.head import Head
from seamtell.data_synth.line_scan import line_scan
from seamtell.features.contracts import Channel, SeamTrace
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.physics.blank_file import Blank, read_blank
from seamtell.pipeline.physics.physics_file import Physics, read_physics
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)
PHYSICS = """
schema_version = 1
[head.default]
frequency_mhz = 0.6
aperture_sd_mm = 5.0
stand_off_mm = 15.0
scatter_tilt_sin = 0.4
[recipe."R1"]
sheet_a_mm = 1.5
sheet_b_mm = 1.3
ramp_mm = 0.6
"""
BLANK = (Path(__file__).parents[3] / "data" / "reference_blank.toml").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Truth:
    """The head as it really is: 8 % narrower than nominal, -1.3 and +0.8 dB."""

    aperture_sd_mm: float = 4.6
    specular_db: float = -1.3
    scatter_db: float = 0.8
    spread_db: float = 0.15
    noise_pct: float = 0.1


def files(folder: Path, *, physics: str = PHYSICS, blank: str = BLANK) -> tuple[Physics, Blank]:
    """Write and read both files."""
    (folder / "physics.toml").write_text(physics)
    (folder / "blank.toml").write_text(blank)
    read = read_physics(folder / "physics.toml")
    return read, read_blank(folder / "blank.toml", read)


def blank_run(
    blank: Blank,
    number: int,
    *,
    truth: Truth | None = None,
    flaws: list[FlawGeometry] | None = None,
    turned: bool = False,
    offset_mm: float | None = None,
) -> SeamTrace:
    """One run, laid down up to 1.2 mm off, with receiver noise and a gain of its own."""
    truth, rng = truth or Truth(), np.random.default_rng(number)
    offset = float(rng.uniform(-1.2, 1.2)) if offset_mm is None else offset_mm
    head = Head(0.6, truth.aperture_sd_mm, 15.0, 0.4)
    x = np.arange(0.0, blank.length_mm + 0.5, 0.5)
    there = [flaw.geometry for flaw in blank.flaws] if flaws is None else flaws
    scan = line_scan([moved(flaw, offset) for flaw in there], blank.joint, head, x)
    amplitudes = {}
    for channel, echo, gain_db in (
        (Channel.SPECULAR, scan.specular, truth.specular_db),
        (Channel.SCATTER, scan.scatter, truth.scatter_db),
    ):
        gain = 10 ** ((gain_db + truth.spread_db * rng.standard_normal()) / 20)
        noise = truth.noise_pct * (rng.standard_normal(len(x)) + 1j * rng.standard_normal(len(x)))
        amplitude = np.abs(gain * echo + noise)
        amplitudes[channel.value] = (amplitude[::-1] if turned else amplitude).astype(np.float32)
    welded = NOW + timedelta(days=number)
    return SeamTrace(f"REF-{number}", welded, "L1", "REF", 0.0, 0.5, amplitudes)


def write_run(folder: Path, trace: SeamTrace, *, line: str = "L1", sheet_a_mm: float | None = None) -> Path:
    """Write a run in the contract layout."""
    head = [f"# seam_id: {trace.seam_id}", f"# welded_at: {trace.welded_at.isoformat()}", f"# line: {line}"]
    head += [f"# recipe: {trace.recipe}"]
    head += [f"# thickness_a_mm: {sheet_a_mm}"] if sheet_a_mm is not None else []
    columns = (trace.amplitudes_pct[channel.value] for channel in Channel)
    rows = [f"{x:.2f},{a:.3f},{b:.3f}" for x, a, b in zip(trace.positions_mm(), *columns, strict=True)]
    path = folder / f"{trace.seam_id}.csv"
    folder.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([*head, "position_mm,specular,scatter", *rows]) + "\n")
    return path


@pytest.fixture(scope="session")
def lab() -> SimpleNamespace:
    """What the tests of the reference blank share: texts of both files, and makers of runs."""
    return SimpleNamespace(
        NOW=NOW, PHYSICS=PHYSICS, BLANK=BLANK, Truth=Truth, files=files, run=blank_run, write_run=write_run
    )


@pytest.fixture(scope="session")
def physics_and_blank(tmp_path_factory: pytest.TempPathFactory) -> tuple[Physics, Blank]:
    """Both files, as they are meant to be."""
    return files(tmp_path_factory.mktemp("files"))


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A workspace with a physics file."""
    ws = init_workspace(tmp_path / "ws")
    ws.physics_path.write_text(PHYSICS)
    return ws

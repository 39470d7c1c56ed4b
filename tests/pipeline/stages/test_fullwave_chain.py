"""The independent full-wave scans, all the way: file, input profile, store, indications.

Origin and limits of the scans: ``tests/data/fullwave/ORIGIN.md``.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.pipeline.describe import describe_seams
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace

FULLWAVE = Path(__file__).parents[2] / "data" / "fullwave"
SCANS = sorted((FULLWAVE / "scans").glob("*.csv"))
SEAM_MM, MIDDLE_MM, PITCH_MM = 240.0, 120.0, 0.25
NOT_FLAWED = {"sound", "rough_joint"}

# A layout of a shop's own: semicolons, decimal commas, centimetres, other names.
PROFILE = r"""
[file]
delimiter = ";"
decimal = ","
[file_name]
pattern = '^(?P<seam_id>.+)\.csv$'
[constants]
welded_at = "2026-01-05T08:00:00Z"
line = "simulated"
recipe = "FW"
thickness_a_mm = "1.5"
thickness_b_mm = "1.3"
[position]
column = "Weg"
unit = "cm"
[channels]
specular = "Kanal A"
scatter = "Kanal B"
"""


def shop_file(scan: Path, seed: int) -> str:
    """A scan in the middle of a longer, otherwise sound, noisy seam, in the shop's layout."""
    with scan.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    at, specular, scatter = (
        np.array([float(row[name]) for row in rows]) for name in ("position_mm", "specular", "scatter")
    )
    x = np.arange(0.0, SEAM_MM + 1e-9, PITCH_MM)
    rng = np.random.default_rng(seed)
    noise = rng.normal(0.0, 0.15, (3, len(x)))
    high = np.abs(np.interp(x - MIDDLE_MM, at, specular) + 2.0 * noise[0])
    low = np.abs(np.interp(x - MIDDLE_MM, at, scatter) + noise[1] + 1j * noise[2])
    lines = [f"{a / 10:.3f};{b:.4f};{c:.4f}".replace(".", ",") for a, b, c in zip(x, high, low, strict=True)]
    return "\n".join(["Weg;Kanal A;Kanal B", *lines]) + "\n"


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory, limits_toml: Callable[..., str]) -> pd.DataFrame:
    """Indications of all sixteen scans after the whole way through a workspace."""
    folder = tmp_path_factory.mktemp("fullwave")
    ws = init_workspace(folder / "ws")
    limits = limits_toml("FW", specular=18.0, scatter=6.0, dead_zone_mm=10.0, beam_width_mm=9.4)
    ws.limits_path.write_text(limits)
    (ws.profiles_dir / "simulated.toml").write_text(PROFILE, encoding="utf-8")
    inbox = folder / "inbox"
    inbox.mkdir()
    for seed, scan in enumerate(SCANS):
        (inbox / scan.name).write_text(shop_file(scan, seed), encoding="utf-8")
    report = ingest(ws, [inbox], "simulated")
    assert (report.added, report.rows) == (16, ())
    return describe_seams(ws)


@pytest.mark.parametrize("name", [scan.stem for scan in SCANS if scan.stem not in NOT_FLAWED])
def test_a_flawed_scan_taken_in_through_a_profile_gives_one_indication_at_its_place(
    found: pd.DataFrame, name: str
) -> None:
    rows = found[found["seam_id"] == name]
    assert len(rows) == 1
    assert (rows["start_mm"] < MIDDLE_MM).all()
    assert (rows["end_mm"] > MIDDLE_MM).all()
    assert rows["channels"].tolist() == ["specular+scatter"]


def test_the_sound_scan_taken_in_through_a_profile_gives_none(found: pd.DataFrame) -> None:
    assert "sound" not in set(found["seam_id"])

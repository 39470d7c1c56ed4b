"""The drawn page of the full-wave scans; origin of the scans: ``tests/data/fullwave/ORIGIN.md``."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SCANS = sorted(scan.stem for scan in (ROOT / "tests" / "data" / "fullwave" / "scans").glob("*.csv"))


@pytest.fixture(scope="module")
def captions(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Caption of every panel, by scan."""
    folder = tmp_path_factory.mktemp("fullwave") / "new"
    command = [sys.executable, str(ROOT / "benchmarks" / "fullwave_page.py"), str(folder)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    page = (folder / "fullwave.html").read_text(encoding="utf-8")
    return dict(re.findall(r"<figcaption><strong>([^<]+)</strong>:\s*([^<]+)</figcaption>", page))


def test_one_command_draws_all_sixteen_scans(captions: dict[str, str]) -> None:
    assert sorted(captions) == SCANS
    assert len(SCANS) == 16


def test_the_page_shows_one_indication_on_every_flawed_scan_and_none_on_the_sound_one(
    captions: dict[str, str],
) -> None:
    assert captions["sound"].startswith("0 indications")
    flawed = set(SCANS) - {"sound", "rough_joint"}
    assert [name for name in flawed if not captions[name].startswith("1 indication,")] == []

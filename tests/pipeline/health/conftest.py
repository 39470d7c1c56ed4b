"""A reference blank of three flaws, and runs of it drawn as plain humps, so that the truth is in sight."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.workspace import Workspace

START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
FLAWS = ((40.0, 30.0, 24.0), (95.0, 50.0, 12.0), (140.0, 20.0, 16.0))
"""Position in mm, then specular and scatter in % FSH; the middle one is a notch of 6 mm."""
BLANK = (Path(__file__).parents[2] / "data" / "reference_blank.toml").read_text(encoding="utf-8")
WriteRun = Callable[..., Path]


@pytest.fixture
def ws(tmp_path: Path) -> Workspace:
    return init_workspace(tmp_path / "ws")


@pytest.fixture
def blank_path(tmp_path: Path) -> Path:
    path = tmp_path / "blank.toml"
    path.write_text(BLANK, encoding="utf-8")
    return path


@pytest.fixture
def write_run(tmp_path: Path) -> WriteRun:
    """Write a run: gain of each channel in dB, flaws left out by number, shift in mm, the other way round."""

    def write(
        name: str = "REF-1",
        *,
        day: float = 0.0,
        specular_db: float = 0.0,
        scatter_db: float = 0.0,
        without: tuple[int, ...] = (),
        shift_mm: float = 0.0,
        turned: bool = False,
        line: str = "L1",
        recipe: str = "REF",
        length_mm: float = 180.0,
    ) -> Path:
        x = np.arange(0.0, length_mm + 0.25, 0.5)
        at = 180.0 - x if turned else x
        specular, scatter = np.full(len(x), 0.0), np.full(len(x), 0.0)
        for i, (position, high, low) in enumerate(FLAWS):
            if i not in without:
                hump = np.exp(-(((at - position - shift_mm) / 4.0) ** 2))
                specular, scatter = np.maximum(specular, high * hump), np.maximum(scatter, low * hump)
        specular, scatter = specular * 10 ** (specular_db / 20) + 0.1, scatter * 10 ** (scatter_db / 20) + 0.1
        welded_at = (START + timedelta(days=day)).isoformat().replace("+00:00", "Z")
        header = f"# seam_id: {name}\n# welded_at: {welded_at}\n# line: {line}\n# recipe: {recipe}\n"
        rows = "\n".join(f"{p:.1f},{a:.4f},{b:.4f}" for p, a, b in zip(x, specular, scatter, strict=True))
        path = tmp_path / f"{name}.csv"
        path.write_text(f"{header}position_mm,specular,scatter\n{rows}\n", encoding="utf-8")
        return path

    return write

"""The page of seams to look at, on a small workspace decided by the limit rule alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions.files import DECISIONS_FILE, INDICATIONS_FILE
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.production_page import write_production_page
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 3, 3, tzinfo=UTC)


def trace(seam_id: str, height_pct: float, recipe: str = "R1") -> SeamTrace:
    rng = np.random.default_rng(5)
    x = 0.5 * np.arange(801)
    bell = np.exp(-0.5 * ((x - 120.0) / 4.0) ** 2)
    specular = 7.0 + rng.normal(0.0, 0.2, len(x)) + height_pct * bell
    scatter = np.abs(0.8 + rng.normal(0.0, 0.1, len(x)))
    amplitudes = {"specular": specular.astype(np.float32), "scatter": scatter.astype(np.float32)}
    return SeamTrace(seam_id, NOW, "line-1", recipe, 0.0, 0.5, amplitudes)


@pytest.fixture
def decided(tmp_path: Path, limits_toml: Callable[..., str]) -> tuple[Workspace, Path]:
    ws = init_workspace(tmp_path / "shop")
    limits = limits_toml("R1", specular=20.0, scatter=10.0, dead_zone_mm=10.0, beam_width_mm=9.4)
    ws.limits_path.write_text(limits, encoding="utf-8")
    writer = StoreWriter(ws.traces_dir)
    for seam in (trace("loud", 40.0), trace("low", 5.0), trace("bare", 5.0, recipe="no limits")):
        writer.add(seam, "invented")
    writer.commit()
    return ws, classify(ws, now=NOW).folder


def page(decided: tuple[Workspace, Path]) -> str:
    ws, folder = decided
    return write_production_page(ws, folder, ws.reports_dir / "p.html").read_text(encoding="utf-8")


def change(path: Path, seam_id: str, **cells: str) -> None:
    table = pd.read_parquet(path)
    for name, value in cells.items():
        table.loc[table["seam_id"] == seam_id, name] = value
    (part,) = path.glob("part-*.parquet")
    table.to_parquet(part)


def test_a_rejected_seam_is_drawn_and_an_accepted_one_is_not(decided):
    html = page(decided)
    assert "<strong>loud</strong>" in html
    assert '<span class="ruling r-reject">reject</span>' in html
    assert "Limit exceeded on specular." in html
    assert "<strong>low</strong>" not in html


def test_a_seam_whose_recipe_has_no_limits_is_counted_though_it_cannot_be_drawn(decided):
    html = page(decided)
    assert "2 of 3 seams are rejected" in html
    assert "all of them are drawn, but 1 whose recipe has no limits" in html
    assert "<strong>bare</strong>" not in html


@pytest.mark.parametrize(
    ("label", "drawn"), [("lack_of_fusion", "0 ■ lack of fusion"), ("edge_notch", "0 ▲ edge notch")]
)
def test_a_label_of_several_words_keeps_the_mark_of_its_class(decided, label, drawn):
    change(decided[1] / INDICATIONS_FILE, "loud", label=label)
    assert drawn in page(decided)


def test_a_seam_to_be_reviewed_says_why(decided):
    change(decided[1] / DECISIONS_FILE, "low", verdict="review", reason="novel+ambiguous")
    assert "Limit kept; a look is asked for: novel and ambiguous." in page(decided)


def test_no_seam_to_look_at_gives_a_page_that_says_so(decided):
    for seam_id in ("loud", "bare"):
        change(decided[1] / DECISIONS_FILE, seam_id, verdict="accept")
    assert "so none is drawn." in page(decided)

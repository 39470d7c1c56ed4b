"""``seamtell show`` and ``seamtell descriptors`` on a small workspace of invented seams."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from seamtell.features.contracts import SeamTrace
from seamtell.features.descriptors.registry import names
from seamtell.pipeline.commands import show as commands
from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.show import show
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

HOSTILE = "../../<script>alert(1)</script>$\\frac{1}{0}$"
WHEN = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)


def trace(seam_id: str, recipe: str = "R1") -> SeamTrace:
    rng = np.random.default_rng(5)
    x = 0.5 * np.arange(801)
    bell = np.exp(-0.5 * ((x - 120.0) / 4.0) ** 2)
    specular = 7.0 + rng.normal(0.0, 0.2, len(x)) + 30.0 * bell
    scatter = 0.8 + rng.normal(0.0, 0.1, len(x)) + 6.0 * bell
    amplitudes = {"specular": specular.astype(np.float32), "scatter": scatter.astype(np.float32)}
    return SeamTrace(seam_id, WHEN, "line-1", recipe, 0.0, 0.5, amplitudes)


@pytest.fixture
def ws(tmp_path: Path, limits_toml: Callable[..., str]) -> Workspace:
    workspace = init_workspace(tmp_path / "shop")
    limits = limits_toml("R1", specular=20.0, scatter=10.0, dead_zone_mm=10.0, beam_width_mm=9.4)
    workspace.limits_path.write_text(limits, encoding="utf-8")
    writer = StoreWriter(workspace.traces_dir)
    for seam_id in ("MB-0001", "MB-0002", HOSTILE):
        writer.add(trace(seam_id), "invented")
    writer.add(trace("MB-0099", recipe="no limits"), "invented")
    writer.commit()
    return workspace


@pytest.fixture
def decide(bare_record: Callable[..., DecisionRecord]) -> Callable[..., None]:
    """Leave decisions for MB-0001 as `classify` would, with a made-up label."""

    def decided(ws: Workspace, when: datetime, label: str, shift_mm: float = 0.0) -> None:
        found = show(ws, "MB-0001").indications
        folder = ws.decisions_dir / f"{when:%Y%m%dT%H%M%SZ}"
        folder.mkdir(parents=True)
        rows = [("MB-0001", i.indication, i.start_mm + shift_mm, i.end_mm + shift_mm, label) for i in found]
        columns = ["seam_id", "indication", "start_mm", "end_mm", "label"]
        pd.DataFrame(rows, columns=columns).to_parquet(folder / "indications.parquet")
        (folder / "decision.json").write_text(bare_record(when).model_dump_json(), encoding="utf-8")

    return decided


def cut(ws: Workspace, tmp_path: Path) -> None:
    table = tmp_path / "sections.csv"
    table.write_text(
        "section_id,seam_id,position_mm,position_tol_mm,flaw,side,depth_mm,length_mm,width_mm,purpose,"
        "examiner,sectioned_on,note\n"
        "S-1,MB-0001,121,1.5,lack_of_fusion,top,0.5,12,,targeted,A,2026-03-05,\n",
        encoding="utf-8",
    )
    report = add_sections(ws, table)
    assert report.added == 1


def svg_text(path: Path) -> list[str]:
    root = ElementTree.fromstring(path.read_bytes())
    return ["".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text")]


def test_a_seam_is_drawn_as_png_below_the_reports(ws):
    result = show(ws, "MB-0001")
    assert result.path.parent == ws.reports_dir / "seams"
    assert result.path.read_bytes().startswith(b"\x89PNG")
    assert [(round(i.peak_mm), i.exceeded_channels) for i in result.indications] == [(120, ("specular",))]


def test_sections_are_marked_and_listed(ws, tmp_path):
    cut(ws, tmp_path)
    result = show(ws, "MB-0001", out=tmp_path / "a.svg")
    assert result.sections == ("S-1",)
    assert "section S-1: lack of fusion" in svg_text(result.path)


def test_labels_come_from_the_newest_decisions(ws, tmp_path, decide: Callable[..., None]):
    decide(ws, datetime(2026, 3, 3, tzinfo=UTC), "pinhole")
    decide(ws, datetime(2026, 3, 4, tzinfo=UTC), "lack_of_fusion")
    result = show(ws, "MB-0001", out=tmp_path / "a.svg")
    assert result.labels == {0: "lack_of_fusion"}
    assert "0 lack of fusion" in svg_text(result.path)


def test_a_label_is_not_shown_on_an_indication_that_lies_elsewhere_now(ws, decide: Callable[..., None]):
    decide(ws, datetime(2026, 3, 3, tzinfo=UTC), "pinhole", shift_mm=0.5)
    assert show(ws, "MB-0001").labels == {}


@pytest.mark.parametrize(
    "damage",
    [
        pytest.param(lambda whole: whole[:40], id="cut short"),
        pytest.param(lambda whole: whole.replace(b"pinhole", b"p\xffnhole"), id="label that is no text"),
    ],
)
def test_damaged_decisions_are_named(ws, decide: Callable[..., None], damage: Callable[[bytes], bytes]):
    decide(ws, datetime(2026, 3, 3, tzinfo=UTC), "pinhole")
    path = next(ws.decisions_dir.glob("*/indications.parquet"))
    path.write_bytes(damage(path.read_bytes()))
    with pytest.raises(BadInput, match=r"indications\.parquet: damaged decisions.*classify again"):
        show(ws, "MB-0001")


def test_an_unknown_seam_gets_the_closest_names(ws):
    with pytest.raises(BadInput, match=r"no seam 'MB-001' among 4 .*did you mean 'MB-0001'"):
        show(ws, "MB-001")


def test_a_seam_unlike_any_other_gets_no_guess(ws):
    with pytest.raises(BadInput, match="mend the seam id"):
        show(ws, "zzzzzz")


def test_an_empty_store_says_what_to_do(tmp_path):
    with pytest.raises(BadInput, match=r"holds no seams.*seamtell ingest"):
        show(init_workspace(tmp_path / "empty"), "MB-0001")


def test_a_recipe_without_limits_is_named(ws):
    with pytest.raises(BadInput, match="no limits for recipe 'no limits'"):
        show(ws, "MB-0099")


@pytest.mark.parametrize("window", [(50.0, 50.0), (90.0, 20.0), (900.0, 950.0), (float("nan"), 20.0)])
def test_a_window_that_shows_nothing_is_refused(ws, window):
    with pytest.raises(BadInput, match=r"expected two ascending positions.*between 0 and 400 mm"):
        show(ws, "MB-0001", window_mm=window)


def test_a_picture_of_another_kind_is_refused(ws, tmp_path):
    with pytest.raises(BadInput, match=r"got '\.pdf', expected \.png or \.svg"):
        show(ws, "MB-0001", out=tmp_path / "a.pdf")


def test_a_folder_as_picture_is_refused(ws, tmp_path):
    (tmp_path / "f.png").mkdir()
    with pytest.raises(BadInput, match="is a folder"):
        show(ws, "MB-0001", out=tmp_path / "f.png")


def test_a_seam_id_never_becomes_a_path(ws, tmp_path):
    before = {p for p in tmp_path.rglob("*") if p.is_file()}
    path = show(ws, HOSTILE).path
    assert {p for p in tmp_path.rglob("*") if p.is_file()} - before == {path}
    assert path.parent == ws.reports_dir / "seams"
    assert not set(path.name) & set("<>$/\\{}()")


def test_two_ids_with_one_slug_give_two_files(ws):
    writer = StoreWriter(ws.traces_dir)
    for seam_id in ("a/b", "a:b"):
        writer.add(trace(seam_id), "invented")
    writer.commit()
    assert show(ws, "a/b").path != show(ws, "a:b").path


def test_a_hostile_id_stays_text_in_the_drawing(ws, tmp_path):
    result = show(ws, HOSTILE, out=tmp_path / "a.svg")
    assert b"<script" not in result.path.read_bytes()
    assert any(HOSTILE in text for text in svg_text(result.path))


def test_a_place_that_cannot_be_written_is_named(ws, tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(StorageProblem, match="file"):
        show(ws, "MB-0001", out=tmp_path / "file" / "a.png")


@pytest.fixture
def app() -> typer.Typer:
    app = typer.Typer()
    commands.register(app)
    return app


def test_the_command_lists_the_indications_and_ends_with_the_next_step(app, ws):
    result = CliRunner().invoke(app, ["show", "MB-0001", "-w", str(ws.root)])
    assert result.exit_code == 0, result.output
    assert "specular + scatter" in result.output
    assert "not classified yet" in result.output
    assert CAUTION in result.output
    assert result.output.splitlines()[-1].startswith("Next: open reports/seams/MB-0001-")


def test_the_command_prints_one_json_document(app, ws, tmp_path):
    words = ["show", "MB-0001", "-w", str(ws.root), "--json", "--out", str(tmp_path / "a.svg")]
    result = CliRunner().invoke(app, [*words, "--window", "60", "180"])
    document = json.loads(result.stdout)
    assert document["picture"] == str(tmp_path / "a.svg")
    assert document["indications"][0]["exceeded_channels"] == ["specular"]
    assert document["indications"][0]["label"] is None


def test_descriptors_are_listed_as_text_markdown_and_json(app):
    runner = CliRunner()
    text, markdown, document = (
        runner.invoke(app, ["descriptors", *option]).stdout for option in ([], ["--markdown"], ["--json"])
    )
    assert [row["name"] for row in json.loads(document)] == list(names())
    assert all(f"`{name}`" in markdown and name in text for name in names())

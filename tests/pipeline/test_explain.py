"""``seamtell show SEAM --explain N`` on a small workspace of simulated seams."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from seamtell.data_synth.echo_designs import designed_flaws
from seamtell.data_synth.echo_library import EchoLibrary, echo_on_grid, library_digest, library_to_bytes
from seamtell.data_synth.expected_ranges import FlawRanges, LackOfFusionRange
from seamtell.data_synth.flaws import FlawGeometry, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.simulated_flaw import EchoCause
from seamtell.features.contracts import SeamTrace, Side
from seamtell.pipeline.commands import show as commands
from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.explain import Explanation, explain
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.physics import echo_tables
from seamtell.pipeline.physics.echo_tables import library_for, table_path
from seamtell.pipeline.physics.physics_file import read_physics
from seamtell.pipeline.report.explained_words import FIT_LABEL
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

WHEN = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
JOINT, HEAD = Joint(1.5, 1.3, 0.6), Head(0.6, 5.047, 15.05, 0.4)
FUSION = Slot.even(200.0, 20.0, 0.84, 0.1, Side.BOTTOM)
PHYSICS = """
schema_version = 1
[head.default]
frequency_mhz = 0.6
aperture_sd_mm = 5.047
stand_off_mm = 15.05
scatter_tilt_sin = 0.4
[recipe.R1]
sheet_a_mm = 1.5
sheet_b_mm = 1.3
ramp_mm = 0.6
[expected]
pinhole = false
edge_notch = false
mismatch = false
[expected.lack_of_fusion]
length_mm = [12.0, 30.0]
"""


def seam(
    seam_id: str, flaws: tuple[FlawGeometry, ...], *, recipe: str = "R1", sheet_b_mm: float = 1.3
) -> SeamTrace:
    """400 mm with noise, gain 1.1."""
    at = 0.5 * np.arange(801)
    rng = np.random.default_rng(3)
    scan = line_scan(flaws, JOINT, HEAD, at)
    echo = 1.1 * np.stack([scan.specular, scan.scatter])
    amplitude = np.abs(echo + 0.12 * (rng.standard_normal(echo.shape) + 1j * rng.standard_normal(echo.shape)))
    specular, scatter = np.minimum(amplitude, 100).astype(np.float32)
    channels = {"specular": specular, "scatter": scatter}
    return SeamTrace(
        seam_id, WHEN, "L1", recipe, 0.0, 0.5, channels, thickness_a_mm=1.5, thickness_b_mm=sheet_b_mm
    )


def small_table(joint: Joint, head: Head, ranges: FlawRanges) -> EchoLibrary:
    """Even slots of about the length of the one in the seam, and what needs no flaw."""
    designed = designed_flaws(joint, ranges)
    kept = [
        one.flaw.cause is EchoCause.GAIN_CHANGE
        or (
            one.flaw.cause is EchoCause.LACK_OF_FUSION
            and 17 < one.flaw.length_mm < 24
            and one.flaw.side is Side.BOTTOM
            and not one.flaw.lean
        )
        for one in designed
    ]
    echoes = [
        echo_on_grid(o.flaw, joint, head) if keep else None for o, keep in zip(designed, kept, strict=True)
    ]
    table = EchoLibrary.of(joint, head, designed, echoes)
    spread = np.linspace(0.4, 3.0, 200)
    return replace(table, novelty_misfits=spread, novelty_extents_mm=np.full(200, 30.0))


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> tuple[EchoLibrary, FlawRanges]:
    path = tmp_path_factory.mktemp("physics") / "physics.toml"
    path.write_text(PHYSICS, encoding="utf-8")
    ranges = read_physics(path).flaw_ranges
    return small_table(JOINT, HEAD, ranges), ranges


@pytest.fixture(scope="module")
def shop(
    tmp_path_factory: pytest.TempPathFactory,
    table: tuple[EchoLibrary, FlawRanges],
    limits_toml: Callable[..., str],
) -> Workspace:
    workspace = init_workspace(tmp_path_factory.mktemp("explain") / "shop")
    limits = limits_toml("R1", "R2", specular=20.0, scatter=10.0, dead_zone_mm=20.0, beam_width_mm=9.4)
    workspace.limits_path.write_text(limits, encoding="utf-8")
    workspace.physics_path.write_text(PHYSICS, encoding="utf-8")
    writer = StoreWriter(workspace.traces_dir)
    writer.add(seam("MB-0001", (FUSION, Slot.even(3.0, 8.0, 1.0, 0.1, Side.BOTTOM))), "invented")
    writer.add(seam("MB-0002", (FUSION,), recipe="R2"), "invented")
    writer.add(seam("MB-0003", (FUSION,), sheet_b_mm=1.2), "invented")
    writer.add(seam("MB-0004", (Slot.even(200.0, 75.0, 0.9, 0.1, Side.BOTTOM),)), "invented")
    writer.add(seam("MB-0005", ()), "invented")
    writer.commit()
    library, ranges = table
    digest = library_digest(JOINT, HEAD, ranges)
    path = table_path(workspace, digest)
    path.parent.mkdir(parents=True)
    path.write_bytes(library_to_bytes(library, digest))
    return workspace


@pytest.fixture
def ws(shop: Workspace, tmp_path: Path) -> Workspace:
    """A copy to change at will."""
    return Workspace(Path(shutil.copytree(shop.root, tmp_path / "shop")))


@pytest.fixture(scope="module")
def found(shop: Workspace) -> Explanation:
    return explain(shop, "MB-0001", 0)


def test_the_flaw_of_the_seam_is_found_with_its_sizes(found):
    best = found.fit.fits[0]
    assert best.cause is EchoCause.LACK_OF_FUSION
    assert best.centre_mm == pytest.approx(200.0, abs=0.5)
    for size, truth in (("length_mm", 20.0), ("depth_mm", 0.84)):
        low, high = best.ranges[next(s for s in best.ranges if s.value == size)]
        assert low <= truth <= high
    assert not found.no_flaw_needed


def test_the_picture_lies_below_the_reports_and_names_the_indication(found, shop):
    assert found.path.parent == shop.reports_dir / "seams"
    assert found.path.name.endswith("-explain-0.png")
    assert found.path.read_bytes().startswith(b"\x89PNG")


def test_gain_comes_from_the_seams_own_level(found):
    assert found.window.levels.specular_gain == pytest.approx(1.1, rel=0.02)
    assert any("never fitted to a reference blank" in words for words in found.assumed)


def test_a_fit_says_on_its_drawing_what_it_is(ws, tmp_path):
    path = explain(ws, "MB-0001", 0, out=tmp_path / "a.svg").path
    root = ElementTree.fromstring(path.read_bytes())
    texts = ["".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert FIT_LABEL in texts
    assert any("nothing printed here releases a weld" in text for text in texts)
    assert any("mm long" in text for text in texts)


@pytest.mark.parametrize("number", [-1, 1, 99])
def test_an_indication_that_is_not_there_is_named(ws, number):
    with pytest.raises(
        BadInput, match=rf"no indication {number}, the seam has 0 to 0; 1 more in the dead zones"
    ):
        explain(ws, "MB-0001", number)


def test_a_seam_without_indication_says_so(ws):
    with pytest.raises(BadInput, match="no indication 0, the seam has none"):
        explain(ws, "MB-0005", 0)


def test_an_unknown_seam_gets_the_closest_names(ws):
    with pytest.raises(BadInput, match="did you mean"):
        explain(ws, "MB-001", 0)


def test_without_a_physics_file_it_says_what_to_do(ws):
    ws.physics_path.unlink()
    with pytest.raises(BadInput, match=r"no physics\.toml"):
        explain(ws, "MB-0001", 0)


def test_a_recipe_without_sheets_is_named(ws):
    with pytest.raises(BadInput, match="no sheets for recipe 'R2'"):
        explain(ws, "MB-0002", 0)


def test_sheets_that_disagree_are_refused(ws):
    with pytest.raises(BadInput, match=r"sheet B is 1\.2 mm.*says 1\.3 mm"):
        explain(ws, "MB-0003", 0)


def test_an_indication_longer_than_every_simulated_flaw_is_refused(ws):
    with pytest.raises(BadInput, match=r"is \d+ mm long, the longest simulated flaw shows as"):
        explain(ws, "MB-0004", 0)


def test_a_damaged_table_is_built_again_with_a_word(ws, monkeypatch, capsys, table):
    library, ranges = table
    path = table_path(ws, library_digest(JOINT, HEAD, ranges))
    whole = path.read_bytes()
    path.write_bytes(whole[:1000])
    monkeypatch.setattr(echo_tables, "build_library", lambda joint, head, ranges: library)
    assert library_for(ws, JOINT, HEAD, ranges) is library
    assert "damaged table of echoes" in capsys.readouterr().err
    assert path.read_bytes() == whole


def test_a_missing_table_is_built_and_kept(ws, monkeypatch):
    ranges = FlawRanges(
        pinhole=None,
        edge_notch=None,
        mismatch=None,
        lack_of_fusion=LackOfFusionRange(length_mm=(12.0, 13.0), depth_share=(0.5, 0.6)),
    )
    few = designed_flaws(JOINT, ranges)[::90]
    monkeypatch.setattr(echo_tables, "designed_flaws", lambda joint, ranges: few)
    built = echo_tables.build_library(JOINT, HEAD, ranges, draws=3)
    assert len(built.designed) == len(few)
    assert len(built.novelty_misfits) == 3
    monkeypatch.setattr(echo_tables, "build_library", lambda joint, head, ranges: built)
    library_for(ws, JOINT, HEAD, ranges)
    assert table_path(ws, library_digest(JOINT, HEAD, ranges)).is_file()


@pytest.fixture
def run(ws: Workspace) -> Callable[..., object]:
    app = typer.Typer()
    commands.register(app)
    return lambda *words: CliRunner().invoke(app, ["show", "MB-0001", "-w", str(ws.root), *words])


def test_the_command_prints_the_fits_the_label_and_the_caution(run):
    result = run("--explain", "0")
    assert result.exit_code == 0, result.output
    assert FIT_LABEL in result.output
    assert "Fits best: lack of fusion" in result.output
    assert "sound: gain change" in result.output
    assert CAUTION in result.output
    assert result.output.splitlines()[-1].startswith("Next: open reports/seams/MB-0001-")


def test_the_command_prints_one_json_document(run, tmp_path):
    document = json.loads(run("--explain", "0", "--json", "--out", str(tmp_path / "a.svg")).stdout)
    assert document["what_this_is"] == FIT_LABEL
    assert document["picture"] == str(tmp_path / "a.svg")
    assert document["fits"][0]["label"] == "lack_of_fusion"
    assert set(document["fits"][0]["ranges"]) == {"length_mm", "depth_mm"}
    assert 0 < document["p_value"] <= 1


def test_a_window_beside_a_fit_is_refused(run):
    result = run("--explain", "0", "--window", "100", "200")
    assert isinstance(result.exception, BadInput)
    assert "--window and --explain together" in str(result.exception)

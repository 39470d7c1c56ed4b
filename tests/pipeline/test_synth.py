import hashlib
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from seamtell.data_synth.reference_blank import reference_runs
from seamtell.data_synth.shop import invent_shop
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, Flaw
from seamtell.pipeline.commands import synth as synth_commands
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.physics.blank_file import read_blank
from seamtell.pipeline.physics.physics_file import read_physics
from seamtell.pipeline.physics.reference_runs import read_runs
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.synth import HIDDEN_TRUTH_DIR, synth
from seamtell.pipeline.workspace import Workspace


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    synth(folder, seams=40, seed=2, sections=12)
    return folder


def digests(folder: Path) -> dict[str, str]:
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_the_same_call_writes_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    synth(tmp_path, seams=40, seed=2, sections=12)
    assert digests(tmp_path) == digests(shop)


def test_every_seam_is_written_once_as_text_or_as_parquet(shop: Path) -> None:
    texts = {path.name.split("_")[1] for path in (shop / "traces").glob("*.csv")}
    rows = set(pd.read_parquet(shop / "seams.parquet")["seam_id"])
    assert texts | rows == {f"MB-{index:06d}" for index in range(40)}
    assert not texts & rows


def test_what_the_profile_reads_is_what_was_invented(shop: Path, tmp_path: Path) -> None:
    init_workspace(tmp_path / "ws")
    ws = Workspace(tmp_path / "ws")
    ws.limits_path.write_bytes((shop / "limits.toml").read_bytes())
    texts = ingest(ws, [shop / "traces"], profile=str(shop / "profile.toml"))
    rows = ingest(ws, [shop / "seams.parquet"], profile="default")
    assert texts.rejected == rows.rejected == 0
    assert texts.added + rows.added == 40
    stored = {trace.seam_id: trace for trace in SeamStore(ws.traces_dir).iter_traces()}
    for seam in invent_shop(40, 2).seams():
        read = stored[seam.trace.seam_id]
        assert (read.line, read.recipe, read.coil, read.shift) == (
            seam.trace.line,
            seam.trace.recipe,
            seam.trace.coil,
            seam.trace.shift,
        )
        assert read.welded_at == seam.trace.welded_at
        assert read.pitch_mm == pytest.approx(seam.trace.pitch_mm)
        assert read.thickness_a_mm == seam.trace.thickness_a_mm
        for name in CHANNELS:
            assert np.abs(read.amplitudes_pct[name] - seam.trace.amplitudes_pct[name]).max() < 0.006
    assert add_sections(ws, shop / "sections.csv").added == 12


def test_contract_layout_cannot_read_the_text_files(shop: Path, tmp_path: Path) -> None:
    init_workspace(tmp_path / "ws")
    ws = Workspace(tmp_path / "ws")
    ws.limits_path.write_bytes((shop / "limits.toml").read_bytes())
    report = ingest(ws, [shop / "traces"], profile="default")
    assert report.added == 0


def test_limits_name_every_recipe_of_the_shop(shop: Path) -> None:
    assert set(read_limits(shop / "limits.toml").recipes) == {"MB-1513", "MB-1815", "MB-1210"}
    tomllib.loads((shop / "profile.toml").read_text(encoding="utf-8"))


def test_the_physics_file_names_every_recipe_and_serves_every_line(shop: Path) -> None:
    physics = read_physics(shop / "physics.toml")
    assert set(physics.joints) == {"MB-1513", "MB-1815", "MB-1210"}
    for seam in invent_shop(40, 2).seams():
        physics.head_for(seam.trace.line)
        physics.check_agrees(seam.trace)


def test_reference_runs_of_each_line_are_read_in_the_contract_layout(shop: Path, tmp_path: Path) -> None:
    ws = init_workspace(tmp_path / "ws")
    blank = read_blank(shop / "reference" / "blank.toml", read_physics(shop / "physics.toml"))
    for line in ("L1", "L2"):
        runs = read_runs(ws, [shop / "reference" / line], None, blank, line)
        assert len(runs) == 5
        made = [run for run in reference_runs(ShopPlan(), 2) if run.line == line]
        for read, run in zip(runs, made, strict=True):
            for name in CHANNELS:
                assert np.abs(read.amplitudes_pct[name] - run.amplitudes_pct[name]).max() < 0.006


def test_weekly_checks_of_each_line_are_there_and_leave_the_other_runs_alone(shop: Path) -> None:
    weeks = ShopPlan().days // 7
    for line in ("L1", "L2"):
        names = sorted(path.stem for path in (shop / "checks" / line).iterdir())
        assert names == [f"CHECK-{line}-{week:02d}" for week in range(1, weeks + 1)]


def test_sections_carry_labels_of_the_contract_and_no_truth(shop: Path) -> None:
    table = pd.read_csv(shop / "sections.csv")
    assert set(table["flaw"]) <= {flaw.value for flaw in Flaw}
    assert not [name for name in table.columns if "true" in name]
    hidden = {path.name for path in (shop / HIDDEN_TRUTH_DIR).iterdir()}
    assert hidden == {"flaws.truth", "sections.truth"}


def test_no_other_module_knows_the_hidden_folder() -> None:
    root = Path(__file__).parents[2]
    sources = [path for part in ("pipeline", "features", "models") for path in (root / part).rglob("*.py")]
    naming = {p.name for p in sources if HIDDEN_TRUTH_DIR in p.read_text(encoding="utf-8")}
    assert naming == {"synth.py"}


def test_taking_in_the_whole_shop_folder_leaves_the_hidden_truth_where_it_is(
    shop: Path, tmp_path: Path
) -> None:
    ws = init_workspace(tmp_path / "ws")
    ws.limits_path.write_bytes((shop / "limits.toml").read_bytes())
    report = ingest(ws, [shop], profile=str(shop / "profile.toml"))
    assert report.added > 0
    runs = {path.name for part in ("reference", "checks") for path in (shop / part).rglob("*.csv")}
    assert {Path(row.source).name for row in report.rows} == {"seams.parquet", "sections.csv"} | runs
    kept = [path.read_bytes() for path in ws.root.rglob("*") if path.is_file()]
    for truth in (shop / HIDDEN_TRUTH_DIR).iterdir():
        assert truth.read_bytes() not in kept


def test_nothing_is_overwritten(shop: Path) -> None:
    before = digests(shop)
    with pytest.raises(Refused, match=r"traces, seams\.parquet.*already there, nothing was changed"):
        synth(shop, seams=2, seed=9)
    assert digests(shop) == before


def test_an_interrupted_run_leaves_nothing_behind(tmp_path: Path) -> None:
    def stop(seams):
        yield next(iter(seams))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        synth(tmp_path, seams=5, seed=1, watch=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "shop").write_text("")
    with pytest.raises(BadInput, match="this is a file, expected a folder"):
        synth(tmp_path / "shop", seams=1, seed=1)


@pytest.mark.parametrize(("seams", "sections"), [(0, None), (3, -1)])
def test_impossible_numbers_are_refused(tmp_path: Path, seams: int, sections: int | None) -> None:
    with pytest.raises(BadInput, match="expected a seam and nothing negative"):
        synth(tmp_path, seams=seams, seed=1, sections=sections)


@pytest.mark.parametrize("as_json", [False, True])
def test_command_says_what_it_wrote(tmp_path: Path, as_json: bool) -> None:
    app = typer.Typer()
    synth_commands.register(app)
    words = [str(tmp_path / "shop"), "--seams", "4", "--seed", "3", "--sections", "1"]
    result = CliRunner().invoke(app, [*words, "--json"] if as_json else words)
    assert result.exit_code == 0, result.output
    assert ("text_seams" in result.output) is as_json
    assert ("All of it is invented" in result.output) is not as_json

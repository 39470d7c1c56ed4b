import json
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.data_synth.shop import invent_shop
from seamtell.data_synth.shop_plan import limits_text
from seamtell.features.contracts import Flaw
from seamtell.features.describer import analyse_seam
from seamtell.features.descriptors import registry
from seamtell.pipeline.commands import implant as implant_command
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.implant import ImplantResult, implant
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.physics.flawed_seams import flawed_trace
from seamtell.pipeline.physics.simulated_sections import Origin, load_simulated, read_record
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, tzinfo=UTC)
PER_CLASS = 6
HEADS = """
schema_version = 1
[head.default]
frequency_mhz = 0.6
aperture_sd_mm = 5.047
stand_off_mm = 15.05
scatter_tilt_sin = 0.4
"""
RECIPE = """
[recipe."{name}"]
sheet_a_mm = {a}
sheet_b_mm = {b}
ramp_mm = 0.6
"""
PHYSICS = HEADS + RECIPE.format(name="MB-1513", a=1.5, b=1.3) + RECIPE.format(name="MB-1815", a=1.8, b=1.5)


def implanted(ws: Workspace, **words) -> ImplantResult:
    return implant(ws, **({"per_class": PER_CLASS, "seed": 3, "now": NOW} | words))


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """Forty recorded seams; not to be changed."""
    made = invent_shop(40, seed=8)
    ws = init_workspace(tmp_path_factory.mktemp("shop") / "ws")
    ws.limits_path.write_text(limits_text(made.plan))
    ws.physics_path.write_text(PHYSICS)
    writer = StoreWriter(ws.traces_dir)
    for seam in made.seams():
        writer.add(seam.trace, "invented for the test")
    writer.commit()
    return ws


@pytest.fixture(scope="module")
def result(shop: Workspace) -> ImplantResult:
    return implanted(shop)


@pytest.fixture
def copy(shop: Workspace, result: ImplantResult, tmp_path: Path) -> Workspace:
    shutil.copytree(shop.root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


def test_every_class_is_drawn_as_often_as_asked(result: ImplantResult) -> None:
    drawn: Counter[str] = Counter()
    for count in result.record.counts:
        drawn[count.label] += count.drawn
    assert drawn.total() == PER_CLASS * len(Flaw) - result.record.without_place
    assert max(drawn.values()) <= PER_CLASS


def test_rows_are_kept_only_with_an_indication_of_their_own(result: ImplantResult, shop: Workspace) -> None:
    for count in result.record.counts:
        assert count.kept <= count.indicated <= count.drawn
    table = load_simulated(shop, "implanted")
    assert len(table) == result.kept > 2 * PER_CLASS
    assert Counter(table.truths.tolist()).keys() <= {flaw.value for flaw in Flaw}
    assert table.names == registry.model_names()


def test_groups_are_those_of_the_sections_of_the_same_coils(shop: Workspace, result: ImplantResult) -> None:
    coils = {f"coil:{coil}" for coil in SeamStore(shop.traces_dir).metadata()["coil"]}
    table = load_simulated(shop, Origin.IMPLANTED)
    assert set(table.groups.tolist()) <= coils


def test_sizes_are_those_that_were_drawn_and_sound_metal_has_none(
    shop: Workspace, result: ImplantResult
) -> None:
    table = load_simulated(shop, "implanted")
    sound = table.truths == "sound"
    assert np.isnan(table.sizes_mm[sound]).all()
    fusion = table.sizes_mm[table.truths == "lack_of_fusion"]
    assert ((fusion >= 5) & (fusion <= 80)).all()


def test_recipes_without_a_joint_are_left_out_by_name(shop: Workspace, result: ImplantResult) -> None:
    assert "MB-1210" in set(SeamStore(shop.traces_dir).metadata()["recipe"])
    assert result.record.left_out == {"recipe MB-1210": "no joint in the physics file"}
    assert set(load_simulated(shop, "implanted").recipes.tolist()) <= {"MB-1513", "MB-1815"}


def test_the_result_does_not_depend_on_the_number_of_workers(copy: Workspace, result: ImplantResult) -> None:
    assert implanted(copy, workers=2).record.table_digest == result.record.table_digest


@pytest.mark.parametrize("origin", list(Origin))
def test_the_result_depends_on_the_seed_alone(copy: Workspace, origin: Origin) -> None:
    once, again, other = (
        implanted(copy, origin=origin, per_class=2, seed=seed).record.table_digest for seed in (3, 3, 4)
    )
    assert once == again != other


def test_simulated_seams_have_groups_of_their_own(copy: Workspace) -> None:
    done = implanted(copy, origin="simulated")
    table = load_simulated(copy, "simulated")
    assert done.record.host_seams == 0
    assert len(set(table.groups.tolist())) > len(table) / 4
    assert all(group.startswith("sim-") for group in table.groups.tolist())


def test_whole_seams_can_be_simulated_before_the_first_is_recorded(tmp_path: Path, shop: Workspace) -> None:
    ws = init_workspace(tmp_path / "new")
    ws.limits_path.write_bytes(shop.limits_path.read_bytes())
    ws.physics_path.write_text(PHYSICS)
    assert implanted(ws, origin="simulated", per_class=3).kept > 5
    with pytest.raises(BadInput, match="no stored seam has both"):
        implanted(ws)


def test_a_class_that_is_switched_off_is_not_simulated(copy: Workspace) -> None:
    text = copy.physics_path.read_text()
    copy.physics_path.write_text(text + "\n[expected]\nmismatch = false\n")
    done = implanted(copy, per_class=2)
    assert "mismatch" not in {count.label for count in done.record.counts}
    off = "".join(f"{name.value} = false\n" for name in Flaw)
    copy.physics_path.write_text(text + "\n[expected]\n" + off)
    with pytest.raises(BadInput, match="every class is switched off"):
        implanted(copy)


def test_flaws_lie_clear_of_what_sections_found(copy: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    seams = SeamStore(copy.traces_dir).metadata()
    rows = [
        "section_id,seam_id,position_mm,position_tol_mm,flaw,side,depth_mm,length_mm,width_mm,purpose,examiner,sectioned_on,note"
    ]
    rows += [
        f"X{i:03d},{seam},150,2,mismatch,na,,60,,targeted,A,2026-05-01,"
        for i, seam in enumerate(seams["seam_id"])
    ]
    table = copy.root / "in.csv"
    table.write_text("\n".join(rows) + "\n")
    assert not add_sections(copy, table).rejected
    made = []
    monkeypatch.setattr(
        "seamtell.pipeline.implant.flaw_rows", lambda seams, settings: made.extend(seams) or []
    )
    implanted(copy)
    limits = read_limits(copy.limits_path)
    assert len(made) > 10
    for seam in made:
        known = [(one.start_mm, one.end_mm) for one in analyse_seam(seam.trace, seam.limits).indications]
        beams = 2 * limits.for_recipe(seam.trace.recipe).beam_width_mm
        for flaw in seam.flaws:
            for start, end in [*known, (118.0, 182.0)]:
                assert max(start - flaw.end_mm, flaw.start_mm - end) >= beams - 1e-6
            assert flaw.start_mm >= seam.trace.start_mm + 15
            assert flaw.end_mm <= seam.trace.end_mm - 15
        again = flawed_trace(seam).amplitudes_pct
        assert all(np.array_equal(flawed_trace(seam).amplitudes_pct[name], again[name]) for name in again)


def test_sheets_that_disagree_with_the_traces_are_refused(copy: Workspace) -> None:
    copy.physics_path.write_text(PHYSICS.replace("sheet_a_mm = 1.5", "sheet_a_mm = 1.7"))
    with pytest.raises(BadInput, match=r"sheet A is 1\.5 mm, the recipe 'MB-1513' says 1\.7 mm"):
        implanted(copy)


def test_without_a_physics_file_nothing_is_simulated(copy: Workspace) -> None:
    copy.physics_path.unlink()
    with pytest.raises(BadInput, match=r"no physics\.toml"):
        implanted(copy)


def test_a_joint_without_limits_is_no_use(copy: Workspace) -> None:
    copy.physics_path.write_text(HEADS + RECIPE.format(name="R9", a=1.5, b=1.3))
    with pytest.raises(BadInput, match=r"no recipe has both a joint here \(there are: R9\) and limits"):
        implanted(copy)


def test_lines_without_a_head_are_left_out_by_name_and_refused_when_none_remains(copy: Workspace) -> None:
    copy.physics_path.write_text(PHYSICS.replace("[head.default]", "[head.L1]"))
    done = implanted(copy, per_class=2)
    assert done.record.left_out["line L2"] == "no head in the physics file"
    assert set(done.record.heads) == {"L1"}
    copy.physics_path.write_text(PHYSICS.replace("[head.default]", "[head.L7]"))
    with pytest.raises(BadInput, match="no head for line 'L1'"):
        implanted(copy)


def test_joints_outside_the_theory_are_refused(copy: Workspace) -> None:
    copy.physics_path.write_text(PHYSICS.replace("sheet_a_mm = 1.5", "sheet_a_mm = 9.5"))
    with pytest.raises(BadInput, match="MB-1513"):
        implanted(copy)


def test_flaw_ranges_that_the_theory_cannot_answer_are_refused(copy: Workspace) -> None:
    copy.physics_path.write_text(PHYSICS + "\n[expected.pinhole]\ndiameter_mm = [40.0, 50.0]\n")
    with pytest.raises(BadInput, match="none of 200 drawn flaws lies within the theory's range") as found:
        implanted(copy)
    assert "expected ranges of 'pinhole'" in str(found.value)


@pytest.mark.parametrize(("words", "got"), [({"per_class": 0}, "0 flaws"), ({"seed": -1}, "seed -1")])
def test_numbers_out_of_range_are_refused(copy: Workspace, words: dict[str, int], got: str) -> None:
    with pytest.raises(BadInput, match=got):
        implanted(copy, **words)


def edit_physics(ws: Workspace) -> None:
    ws.physics_path.write_text(PHYSICS + "# a remark\n")


def edit_limits(ws: Workspace) -> None:
    ws.limits_path.write_text(ws.limits_path.read_text() + "# a remark\n")


def edit_threshold(ws: Workspace) -> None:
    text = ws.settings_path.read_text()
    assert "enter_sigma = 5.0" in text
    ws.settings_path.write_text(text.replace("enter_sigma = 5.0", "enter_sigma = 6.0"))


@pytest.mark.parametrize(
    ("edit", "what"),
    [(edit_physics, "physics file"), (edit_limits, "limit file"), (edit_threshold, "threshold")],
)
def test_what_was_made_with_something_else_is_refused(
    copy: Workspace, edit: Callable[[Workspace], None], what: str
) -> None:
    edit(copy)
    with pytest.raises(BadInput, match=f"made with another {what}.*run 'seamtell implant' again"):
        load_simulated(copy, "implanted")


@pytest.mark.parametrize(
    ("name", "what"), [("THEORY_VERSION", "version of the theory"), ("registry", "set of descriptors")]
)
def test_another_theory_or_descriptor_set_is_refused(
    copy: Workspace, monkeypatch: pytest.MonkeyPatch, name: str, what: str
) -> None:
    module = "seamtell.pipeline.physics.simulated_sections"
    if name == "registry":
        monkeypatch.setattr(registry, "schema_digest", lambda: "0" * 64)
    else:
        monkeypatch.setattr(f"{module}.{name}", "another")
    with pytest.raises(BadInput, match=f"made with another {what}"):
        load_simulated(copy, "implanted")


def test_a_new_reference_fit_makes_them_stale(copy: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    from seamtell.pipeline.physics import simulated_sections as stored

    before = stored.fitted_head

    def refitted(ws, physics, line):
        from dataclasses import replace

        old = before(ws, physics, line)
        return replace(old, gain_db={channel: gain + 1 for channel, gain in old.gain_db.items()})

    monkeypatch.setattr(stored, "fitted_head", refitted)
    with pytest.raises(BadInput, match="made with another reference fit"):
        load_simulated(copy, "implanted")


def test_missing_and_damaged_files_are_named(copy: Workspace) -> None:
    with pytest.raises(BadInput, match=r"no simulated sections yet.*run 'seamtell implant --simulated'"):
        load_simulated(copy, "simulated")
    table = copy.physics_dir / "implanted.parquet"
    whole = table.read_bytes()
    table.write_bytes(whole[:200])
    with pytest.raises(BadInput, match="the table is damaged"):
        load_simulated(copy, "implanted")
    table.unlink()
    with pytest.raises(BadInput, match="the table is gone"):
        load_simulated(copy, "implanted")
    table.with_suffix(".json").write_text("{}")
    with pytest.raises(BadInput, match="not what 'seamtell implant' writes"):
        read_record(copy, "implanted")


def test_a_table_with_another_record_is_refused(copy: Workspace) -> None:
    path = copy.physics_dir / "implanted.parquet"
    frame = pd.read_parquet(path)
    frame.loc[0, "truth"] = "sound" if frame.loc[0, "truth"] != "sound" else "pinhole"
    frame.to_parquet(path)
    with pytest.raises(BadInput, match="table and record do not belong together"):
        load_simulated(copy, "implanted")


@pytest.mark.parametrize("as_json", [False, True])
def test_command_says_how_many_flaws_the_shop_can_see(copy: Workspace, as_json: bool) -> None:
    app = typer.Typer()
    app.callback()(lambda: None)
    implant_command.register(app)
    words = ["implant", "-w", str(copy.root), "--per-class", "2", "--workers", "1"]
    done = CliRunner().invoke(app, [*words, "--json"] if as_json else words)
    assert done.exit_code == 0, done.output
    if as_json:
        document = json.loads(done.stdout)
        assert document["kept"] == sum(count["kept"] for count in document["counts"])
    else:
        assert "drawn  indicated" in done.stdout
        assert "they help training and never judge a model" in done.stdout
        assert "recipe MB-1210 was left out" in done.stderr


def test_default_ranges_are_what_an_empty_table_of_expectations_means(shop: Workspace, result) -> None:
    assert {count.label for count in result.record.counts} == {label.value for label in FlawRanges().labels}

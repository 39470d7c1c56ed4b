from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from seamtell.features.descriptors import registry
from seamtell.features.errors import SeamtellError
from seamtell.models import model_file
from seamtell.models.calibration import Calibration
from seamtell.models.canonical_json import canonical_json
from seamtell.models.model_file import ModelRefused, load_model, model_digest, save_model
from seamtell.models.reasons import Reason
from seamtell.models.training import TrainingPlan, train_flaw_model

SCHEMA = "schema-of-the-tests"


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }


@pytest.fixture(scope="session")
def saved(shop_result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("models") / "m-0001"
    save_model(shop_result.model, folder, {"split.json": b"{}\n"})
    return folder


@pytest.fixture
def copy(saved: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(saved, tmp_path / "copy"))


def test_a_loaded_model_answers_as_the_saved_one(shop_result, shop_table, saved: Path) -> None:
    loaded = load_model(saved, schema_digest=SCHEMA)
    ours = shop_result.model.answer(shop_table.values, shop_table.recipes.tolist())
    theirs = loaded.answer(shop_table.values, shop_table.recipes.tolist())
    assert (ours.probabilities == theirs.probabilities).all()
    assert (ours.novelty_p == theirs.novelty_p).all()
    assert (ours.labels, ours.label_sets, ours.reasons) == (theirs.labels, theirs.label_sets, theirs.reasons)


def test_a_loaded_model_saves_to_the_same_bytes(saved: Path, tmp_path: Path) -> None:
    save_model(load_model(saved, schema_digest=SCHEMA), tmp_path / "again", {"split.json": b"{}\n"})
    assert contents(tmp_path / "again") == contents(saved)


def test_the_folder_holds_text_and_json_only(saved: Path) -> None:
    assert {Path(name).suffix for name in contents(saved)} == {".json", ".txt"}
    assert all(content.decode("ascii") for content in contents(saved).values())


def test_the_digest_of_the_model_is_that_of_the_list_of_digests(saved: Path) -> None:
    result = subprocess.run(["sha256sum", saved / "digests.json"], capture_output=True, text=True, check=True)
    assert model_digest(saved) == result.stdout.split()[0]


def test_the_digest_depends_on_extra_files(shop_result, saved: Path, tmp_path: Path) -> None:
    assert save_model(shop_result.model, tmp_path / "other", {"split.json": b"[]\n"}) != model_digest(saved)


SMALL_SHOP = {"pinhole": 14, "lack_of_fusion": 14, "sound": 12}
TRAIN = f"""
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from conftest import make_shop
from seamtell.models.model_file import save_model
from seamtell.models.training import TrainingPlan, train_flaw_model
table = make_shop({SMALL_SHOP!r}, sizes=False)
print(save_model(train_flaw_model(table, TrainingPlan(folds=2)).model, Path(sys.argv[2])))
"""


def test_two_runs_give_the_same_bytes_on_one_core_and_on_two(shop, tmp_path: Path) -> None:
    table = shop(SMALL_SHOP, sizes=False)
    with threadpool_limits(limits=2):
        ours = save_model(train_flaw_model(table, TrainingPlan(folds=2)).model, tmp_path / "two")
    environment = {**os.environ, **{f"{x}_NUM_THREADS": "1" for x in ("OMP", "OPENBLAS", "MKL")}}
    command = [sys.executable, "-c", TRAIN, str(Path(__file__).parent), str(tmp_path / "one")]
    result = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert result.stdout.strip() == ours
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_another_seed_gives_another_model(shop, quick_plan, tmp_path: Path) -> None:
    table = shop({"pinhole": 20, "sound": 20}, sizes=False)
    digests = {
        save_model(train_flaw_model(table, replace(quick_plan, seed=seed)).model, tmp_path / str(seed))
        for seed in (1, 2)
    }
    assert len(digests) == 2


def test_one_changed_byte_anywhere_is_refused_and_its_file_named(copy: Path) -> None:
    rng = np.random.default_rng(1)
    for path in sorted(p for p in copy.rglob("*") if p.is_file()):
        original = path.read_bytes()
        places = rng.choice(len(original), min(len(original), 25), replace=False)
        for place in {0, len(original) - 1, *places.tolist()}:
            changed = bytearray(original)
            changed[place] ^= int(rng.integers(1, 256))
            path.write_bytes(bytes(changed))
            with pytest.raises(ModelRefused) as refusal:
                load_model(copy, schema_digest=SCHEMA)
            if path.name != "digests.json":
                assert str(path) in str(refusal.value)
        path.write_bytes(original)
    load_model(copy, schema_digest=SCHEMA)


def test_every_byte_of_the_list_of_digests_is_guarded(shop, quick_plan, tmp_path: Path) -> None:
    copy = tmp_path / "m"
    save_model(train_flaw_model(shop(SMALL_SHOP, sizes=False), quick_plan).model, copy)
    path = copy / "digests.json"
    original = path.read_bytes()
    for place in range(len(original)):
        changed = bytearray(original)
        changed[place] ^= 1
        path.write_bytes(bytes(changed))
        with pytest.raises(ModelRefused):
            model_digest(copy)


@pytest.mark.parametrize("name", ["model_card.json", "candidates/lightgbm.txt", "split.json", "probe.json"])
def test_a_missing_file_is_refused_by_name(copy: Path, name: str) -> None:
    (copy / name).unlink()
    with pytest.raises(ModelRefused, match=f"{name}: a file of the model is missing"):
        load_model(copy, schema_digest=SCHEMA)


def test_a_folder_without_a_model_is_refused(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(ModelRefused, match="no model is here"):
            model_digest(folder)


@pytest.mark.parametrize("name", ["more.json", "candidates/forest.json", ".hidden"])
def test_an_extra_file_is_refused_by_name(copy: Path, name: str) -> None:
    (copy / name).write_bytes(b"{}")
    with pytest.raises(ModelRefused, match=f"{name}: an extra file"):
        load_model(copy, schema_digest=SCHEMA)


def test_a_link_in_place_of_a_file_is_refused(copy: Path, tmp_path: Path) -> None:
    shutil.move(copy / "novelty.json", tmp_path / "elsewhere.json")
    (copy / "novelty.json").symlink_to(tmp_path / "elsewhere.json")
    with pytest.raises(ModelRefused, match="got a link"):
        load_model(copy, schema_digest=SCHEMA)


def rewrite(folder: Path, name: str, content: bytes) -> None:
    """Change a file and its digest too, as someone who knows the format would."""
    (folder / name).write_bytes(content)
    digests = json.loads((folder / "digests.json").read_bytes())
    digests[name] = model_file._sha256(content)
    (folder / "digests.json").write_bytes(canonical_json(digests))


def test_a_model_that_answers_its_probe_differently_is_refused(copy: Path) -> None:
    card = load_model(copy, schema_digest=SCHEMA).calibration
    rewrite(
        copy,
        "calibration.json",
        canonical_json(Calibration(card.temperature + 1e-9, card.bias).to_document()),
    )
    model_digest(copy)  # the digests agree with each other
    with pytest.raises(ModelRefused, match=r"probe.json: the model does not answer its own probe"):
        load_model(copy, schema_digest=SCHEMA)


def test_a_probe_difference_below_the_tolerance_passes(copy: Path) -> None:
    probe = json.loads((copy / "probe.json").read_bytes())
    probe["answers"]["calibrated"][0][0] += 1e-13
    rewrite(copy, "probe.json", canonical_json(probe))
    load_model(copy, schema_digest=SCHEMA)
    probe["answers"]["calibrated"][0][0] += 2e-12
    rewrite(copy, "probe.json", canonical_json(probe))
    with pytest.raises(ModelRefused, match="probe"):
        load_model(copy, schema_digest=SCHEMA)


def test_a_probe_with_rows_or_parts_cut_off_is_refused(copy: Path) -> None:
    probe = json.loads((copy / "probe.json").read_bytes())
    probe["answers"]["distances"].pop()
    rewrite(copy, "probe.json", canonical_json(probe))
    with pytest.raises(ModelRefused, match="probe"):
        load_model(copy, schema_digest=SCHEMA)
    del probe["answers"]["distances"]
    rewrite(copy, "probe.json", canonical_json(probe))
    with pytest.raises(ModelRefused, match="not readable as a model"):
        load_model(copy, schema_digest=SCHEMA)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("model_card.json", b"{}"),
        ("model_card.json", b"\xff"),
        ("novelty.json", b"[]"),
        ("conformal.json", b"{}"),
        ("candidates/logistic.json", b"no json"),
        (
            "candidates/logistic.json",
            b'{"coefficients": [[1.0], [1.0]], "intercepts": [0.0], "inverse_penalty": 1.0}',
        ),
        ("candidates/lightgbm.txt", b"tree\n"),
    ],
)
def test_files_that_cannot_be_read_as_a_model_are_refused(copy: Path, name: str, content: bytes) -> None:
    rewrite(copy, name, content)
    with pytest.raises(ModelRefused, match="not readable as a model"):
        load_model(copy, schema_digest=SCHEMA)


def test_a_model_of_another_format_version_is_refused(copy: Path) -> None:
    card = json.loads((copy / "model_card.json").read_bytes())
    rewrite(copy, "model_card.json", canonical_json({**card, "format_version": 3}))
    with pytest.raises(ModelRefused, match="not readable as a model of format 1 or 2") as refusal:
        load_model(copy, schema_digest=SCHEMA)
    assert refusal.value.reason is Reason.SCHEMA_MISMATCH


def test_other_descriptor_definitions_are_refused_with_that_reason(saved: Path) -> None:
    with pytest.raises(ModelRefused, match="trained on descriptor definitions") as refusal:
        load_model(saved)
    assert refusal.value.reason is Reason.SCHEMA_MISMATCH
    assert registry.schema_digest()[:12] in str(refusal.value)


def test_a_model_of_the_registered_descriptors_loads_without_being_told(
    shop, quick_plan, tmp_path: Path
) -> None:
    table = replace(shop({"pinhole": 12, "sound": 12}), schema_digest=registry.schema_digest())
    save_model(train_flaw_model(table, quick_plan).model, tmp_path / "m")
    assert load_model(tmp_path / "m").classes == ("pinhole", "sound")


def test_a_folder_that_is_there_already_is_never_overwritten(shop_result, copy: Path) -> None:
    before = contents(copy)
    with pytest.raises(SeamtellError, match="there already"):
        save_model(shop_result.model, copy)
    assert contents(copy) == before


@pytest.mark.parametrize(
    "name", ["../out.csv", "a/b.csv", "/tmp/x", "..", ".", "", "model_card.json", "digests.json", "a\\b"]
)
def test_extra_files_stay_in_the_folder_and_hide_nothing(shop_result, tmp_path: Path, name: str) -> None:
    with pytest.raises(SeamtellError, match="expected a new plain name"):
        save_model(shop_result.model, tmp_path / "m", {name: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing_behind(
    shop_result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = []

    def fail_at_the_third(path: Path, content: bytes) -> None:
        written.append(path)
        if len(written) == 3:
            raise OSError(28, "No space left on device")
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)

    monkeypatch.setattr(model_file, "_write", fail_at_the_third)
    with pytest.raises(OSError, match="No space left"):
        save_model(shop_result.model, tmp_path / "m")
    assert list(tmp_path.iterdir()) == []


def test_a_candidate_that_writes_under_another_name_is_refused(shop_result, tmp_path: Path) -> None:
    renamed = replace(shop_result.model, candidates={"other": shop_result.model.candidates["prior"]})
    renamed = replace(renamed, card=renamed.card.model_copy(update={"chosen": "other"}))
    with pytest.raises(ValueError, match=r"candidate other writes prior\.json"):
        save_model(renamed, tmp_path / "m")

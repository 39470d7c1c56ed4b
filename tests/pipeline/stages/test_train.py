from __future__ import annotations

import csv
import errno
import io
import os
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from threadpoolctl import threadpool_limits

from seamtell.features.errors import SeamtellError
from seamtell.models.flaw_model import ModelCard
from seamtell.pipeline import train as stage
from seamtell.pipeline.errors import BadInput, StorageProblem, WorkspaceBusy
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.labelled import load_labelled
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.train import TrainResult, next_model_id, split_sections, train
from seamtell.pipeline.training_files import Split, out_of_fold_csv
from seamtell.pipeline.workspace import Workspace

Trained = tuple[Workspace, TrainResult]
Quick = Callable[[Workspace], None]


def files_of(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def untracked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave tracking out, which has its own tests."""
    monkeypatch.setattr(stage, "record_run", lambda *_: True)


def test_the_first_model_is_m_0001_and_every_candidate_is_in_the_table(trained: Trained) -> None:
    _, result = trained
    assert result.model_id == "m-0001"
    assert [s.name for s in result.candidate_table] == ["prior", "hand_rule", "logistic", "lightgbm"]
    assert sum(s.chosen for s in result.candidate_table) == 1


@pytest.mark.usefixtures("untracked")
def test_two_runs_give_byte_identical_folders_on_one_and_on_two_threads(
    trained: Trained, untrained_copy: Workspace, now: datetime
) -> None:
    _, first = trained
    with threadpool_limits(2):
        again = train(untrained_copy, now=now.replace(year=2031))
    assert files_of(again.folder) == files_of(first.folder)
    assert again.digest == first.digest


@pytest.mark.usefixtures("untracked")
def test_a_second_training_takes_the_next_number_and_leaves_the_first_folder_alone(
    untrained_copy: Workspace, quick_settings: Quick, now: datetime
) -> None:
    quick_settings(untrained_copy)
    first = train(untrained_copy, now=now)
    before = files_of(first.folder)
    second = train(untrained_copy, now=now)
    assert second.model_id == "m-0002"
    assert files_of(first.folder) == before == files_of(second.folder)


def test_the_number_after_m_9999_has_five_digits(tmp_path: Path) -> None:
    (tmp_path / "models" / "m-9999").mkdir(parents=True)
    assert next_model_id(Workspace(tmp_path)) == "m-10000"


def test_no_file_of_the_model_folder_tells_the_time_the_workspace_or_the_models_number(
    trained: Trained, now: datetime
) -> None:
    ws, result = trained
    text = b"\n".join(files_of(result.folder).values())
    for word in (str(ws.root), result.model_id, now.strftime("%Y-%m-%d")):
        assert word.encode() not in text


def test_the_newest_sections_are_held_out_by_whole_coils_and_never_trained_on(trained: Trained) -> None:
    ws, result = trained
    split = Split.model_validate_json((result.folder / "split.json").read_bytes())
    matched = load_labelled(ws, read_settings(ws.settings_path)).matched.set_index("section_id")
    older = matched.loc[list(split.training_section_ids)]
    newest = matched.loc[list(split.held_out_section_ids)]
    assert len(older) + len(newest) == len(matched)
    assert older["welded_at"].max() < newest["welded_at"].min() == pd.Timestamp(split.cut_time)
    assert not set(older["group"]) & set(newest["group"])
    assert 0.25 < len(newest) / len(matched) < 0.35
    card = ModelCard.model_validate_json((result.folder / "model_card.json").read_bytes())
    assert set(card.training_section_ids) <= set(split.training_section_ids)


def test_a_planted_leak_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    days = pd.date_range("2026-01-01", periods=4, tz="UTC")
    matched = pd.DataFrame(
        {"section_id": list("abcd"), "group": ["coil:1", "coil:2", "coil:2", "coil:3"], "welded_at": days}
    )
    # A split by row, not by coil, puts coil 2 on both sides.
    monkeypatch.setattr(stage, "time_ordered_holdout", lambda groups, times, share: times >= times[2])
    with pytest.raises(SeamtellError, match=r"group 'coil:2' .*on both sides"):
        split_sections(matched, 0.5)


def test_out_of_fold_answers_cover_the_fitted_sections_with_one_distribution_a_candidate(
    trained: Trained,
) -> None:
    _, result = trained
    card = ModelCard.model_validate_json((result.folder / "model_card.json").read_bytes())
    frame = pd.read_csv(result.folder / "out_of_fold.csv")
    assert tuple(frame["section_id"]) == card.training_section_ids
    for candidate in card.candidates:
        columns = [f"p_{candidate}_{name}" for name in card.classes]
        np.testing.assert_allclose(frame[columns].sum(axis=1), 1.0, atol=1e-9)


def test_out_of_fold_answers_never_share_a_coil_between_a_fold_and_its_training(trained: Trained) -> None:
    ws, result = trained
    frame = pd.read_csv(result.folder / "out_of_fold.csv")
    matched = load_labelled(ws, read_settings(ws.settings_path)).matched.set_index("section_id")
    folds_of_coil = matched.loc[frame["section_id"], "group"].to_frame().assign(fold=frame["fold"].to_numpy())
    assert folds_of_coil.drop_duplicates()["group"].is_unique


def test_figures_in_the_out_of_fold_file_come_back_to_the_last_bit() -> None:
    values = np.random.default_rng(3).dirichlet(np.ones(2), size=50)
    ids = tuple(f"X{i}" for i in range(50))
    content = out_of_fold_csv(ids, np.full(50, "a"), np.zeros(50, int), ("a", "b"), {"prior": values})
    rows = list(csv.DictReader(io.StringIO(content.decode())))
    # Python's own conversion is exact to the last bit.
    read = [[float(row["p_prior_a"]), float(row["p_prior_b"])] for row in rows]
    assert read == values.tolist()


def test_a_section_id_that_is_a_formula_cannot_act_in_a_spreadsheet() -> None:
    content = out_of_fold_csv(
        ("=1+1",), np.array(["a"]), np.zeros(1, int), ("a",), {"prior": np.ones((1, 1))}
    )
    assert content.decode().splitlines()[1].startswith("'=1+1,")


@pytest.mark.usefixtures("untracked")
def test_a_class_with_too_few_sections_is_left_out_by_name_and_says_how_many_are_missing(
    untrained_copy: Workspace, quick_settings: Quick, trained: Trained, now: datetime
) -> None:
    fitted = {count.flaw: count.fitted for count in trained[1].class_counts}
    least = min(fitted.values())
    quick_settings(untrained_copy)
    text = untrained_copy.settings_path.read_text().splitlines()
    text = [line for line in text if not line.startswith("min_sections_per_class")]
    text.insert(text.index("[train]") + 1, f"min_sections_per_class = {least + 1}")
    untrained_copy.settings_path.write_text("\n".join(text))
    result = train(untrained_copy, now=now)
    scarce = {flaw for flaw, n in fitted.items() if n == least}
    assert set(result.left_out_classes) == scarce
    assert {c.flaw for c in result.class_counts if c.missing == 1} == scarce
    card = ModelCard.model_validate_json((result.folder / "model_card.json").read_bytes())
    assert not scarce & set(card.classes)


def test_too_few_sections_say_what_is_missing_of_each_class(
    untrained_copy: Workspace, quick_settings: Quick, now: datetime
) -> None:
    quick_settings(untrained_copy)
    text = untrained_copy.settings_path.read_text().splitlines()
    text = [line for line in text if not line.startswith("min_sections_per_class")]
    text.insert(text.index("[train]") + 1, "min_sections_per_class = 40")
    untrained_copy.settings_path.write_text("\n".join(text))
    with pytest.raises(BadInput, match=r"need 40 older sections each.*pinhole 2\d more, edge_notch 2\d more"):
        train(untrained_copy, now=now)
    assert not untrained_copy.models_dir.exists()


def test_a_single_section_says_what_is_missing_and_not_that_it_cannot_be_split(
    untrained_copy: Workspace, now: datetime
) -> None:
    path = next(untrained_copy.sections_dir.glob("*.parquet"))
    pd.read_parquet(path).query("flaw == 'pinhole'").head(1).to_parquet(path)
    with pytest.raises(BadInput, match=r"too few sections to train.*edge_notch 8 more"):
        train(untrained_copy, now=now)


def test_training_waits_for_nobody_when_the_workspace_is_held(
    untrained_copy: Workspace, now: datetime
) -> None:
    with workspace_lock(untrained_copy), pytest.raises(WorkspaceBusy):
        train(untrained_copy, now=now)


@pytest.mark.usefixtures("untracked")
def test_a_full_disk_leaves_no_model_folder(
    untrained_copy: Workspace, quick_settings: Quick, monkeypatch: pytest.MonkeyPatch, now: datetime
) -> None:
    quick_settings(untrained_copy)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageProblem, match="the disk is full"):
        train(untrained_copy, now=now)
    assert not list(untrained_copy.models_dir.iterdir())


def test_class_counts_add_up_to_the_sections(trained: Trained) -> None:
    ws, result = trained
    counts = [asdict(count) for count in result.class_counts]
    matched = load_labelled(ws, read_settings(ws.settings_path)).matched
    assert sum(c["training"] + c["held_out"] for c in counts) == len(matched)

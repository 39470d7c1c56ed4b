"""What MLflow keeps must be enough: a copy of it labels elsewhere, without the workspace."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.models.model_file import load_model
from seamtell.pipeline.labelled import load_labelled
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.tracking import stored_model as tracking_model
from seamtell.pipeline.tracking.runs import push
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

# A stranger's program: MLflow alone, in a new interpreter. Opening anything of the workspace, or
# the script that was stored, is noticed by the interpreter itself, whoever does it.
LOAD = """
import sys
stored, table, answers, *gone = sys.argv[1:]

def watch(event, arguments):
    if event == "open" and any(str(arguments[0]).startswith(place) for place in gone):
        raise AssertionError(f"opened {arguments[0]}")

sys.addaudithook(watch)
import mlflow, pandas
model = mlflow.pyfunc.load_model(stored)
model.predict(pandas.read_parquet(table)).to_parquet(answers)
"""


@pytest.fixture
def carried_away(shop_copy: Workspace, tmp_path: Path) -> Path:
    """Copy what MLflow stored for the shop's model; the workspace it came from is gone."""
    assert push(shop_copy).problem == ""
    (card,) = (shop_copy.tracking_dir / "artifacts").rglob("MLmodel")
    away = tmp_path / "carried away"
    shutil.copytree(card.parent, away)
    shutil.rmtree(shop_copy.root)
    return away


def test_a_copy_of_the_stored_model_labels_in_another_process_without_workspace_or_script(
    trained: tuple[Workspace, TrainResult], carried_away: Path, tmp_path: Path
) -> None:
    ws, result = trained
    table = load_labelled(ws, read_settings(ws.settings_path)).table
    frame = pd.DataFrame(table.values, columns=list(table.names)).assign(recipe=table.recipes)
    given, returned = tmp_path / "descriptors.parquet", tmp_path / "answers.parquet"
    frame.to_parquet(given)
    gone = [str(Path(tracking_model.__file__)), str(ws.root), str(tmp_path / "ws")]
    ran = subprocess.run(
        [sys.executable, "-c", LOAD, str(carried_away), str(given), str(returned), *gone],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    answers = pd.read_parquet(returned)
    expected = load_model(result.folder).answer(table.values, table.recipes.tolist())
    assert len(set(expected.labels)) > 2
    assert answers["label"].tolist() == list(expected.labels)
    assert answers["reason"].tolist() == list(expected.reasons)
    for k, name in enumerate(expected.classes):
        np.testing.assert_allclose(answers[f"p_{name}"], expected.probabilities[:, k], rtol=0, atol=1e-12)

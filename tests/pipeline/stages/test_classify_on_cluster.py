"""Decisions of an approved model on the workers of a cluster."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pandas as pd
from typer.testing import CliRunner

from seamtell.pipeline.beyond.cluster import check_workers, open_cluster
from seamtell.pipeline.beyond.cluster_run import OnCluster
from seamtell.pipeline.classify import classify
from seamtell.pipeline.cli import app
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

Trained = tuple[Workspace, TrainResult]


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_an_approved_model_decides_on_a_cluster_as_it_does_in_one_process(
    trained: Trained, now: datetime, tmp_path: Path
) -> None:
    ws = trained[0]
    classify(ws, out=tmp_path / "one", unit_seams=20, now=now)
    with open_cluster("local:2") as client:
        check_workers(client, ws.traces_dir, read_manifest(ws.traces_dir))
        done = classify(ws, out=tmp_path / "many", unit_seams=20, run=OnCluster(client), now=now)
    assert files(tmp_path / "many") == files(tmp_path / "one")
    assert done.record.model_id == trained[1].model_id
    labels = pd.read_parquet(tmp_path / "many" / "indications.parquet")["label"]
    assert labels.isin(["pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound"]).sum() > 50


def test_the_commands_read_another_store_and_end_with_the_caution(trained: Trained, tmp_path: Path) -> None:
    ws = trained[0]
    words = ["classify", "-w", str(ws.root), "--store", str(ws.traces_dir), "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == ExitCode.DONE, done.output
    assert "nothing printed here releases a weld" in done.output
    assert json.loads((tmp_path / "out" / "decision.json").read_text())["counts"]["seams"] == 130


def test_results_may_go_to_an_address(trained: Trained) -> None:
    words = ["describe", "-w", str(trained[0].root), "--out", "memory://marram-bay/described", "--json"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == ExitCode.DONE, done.output
    assert json.loads(done.stdout)["path"] == "memory://marram-bay/described/indications.parquet"

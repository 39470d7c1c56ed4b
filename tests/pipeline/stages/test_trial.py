"""Trial runs: an unapproved model labels, and decides nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from seamtell.features.contracts import Flaw
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.answers import Answers
from seamtell.models.limit_rule import apply_limit_rule
from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline import classify as classify_stage
from seamtell.pipeline import train as stage
from seamtell.pipeline.classify import classify
from seamtell.pipeline.cli import app
from seamtell.pipeline.decisions import trusted_model as trust
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.files import (
    DECISION_COLUMNS,
    TRIAL_INDICATION_COLUMNS,
    TrialRecord,
    newest_decisions,
    read_decisions,
)
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.mix import flaw_mix
from seamtell.pipeline.settings import ReviewSettings, Settings, indication_settings, read_settings
from seamtell.pipeline.show import show
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.train import TrainResult, train
from seamtell.pipeline.workspace import Workspace

Trained = tuple[Workspace, TrainResult]
CLASSES = tuple(flaw.value for flaw in Flaw)
SEAMS = [f"S{number:04d}" for number in range(1, 25)]


@pytest.fixture
def trial(trained: Trained, now: datetime, tmp_path: Path):
    ws, result = trained
    return classify(ws, seam_ids=SEAMS, out=tmp_path / "trial", trial=result.model_id, now=now)


def limit_verdicts(ws: Workspace) -> dict[str, str]:
    limits = read_limits(ws.limits_path)
    traces = SeamStore(ws.traces_dir).iter_traces(SEAMS)
    return {t.seam_id: apply_limit_rule(t, limits.get(t.recipe)).verdict.text for t in traces}


def test_the_verdicts_are_the_limit_rules_alone_though_production_would_ask_for_reviews(
    trained: Trained, now: datetime, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ws, result = trained
    every_label = ReviewSettings(labels=dict.fromkeys(CLASSES, 0.0))
    asking = read_settings(ws.settings_path).model_copy(update={"review": every_label})
    monkeypatch.setattr(classify_stage, "read_settings", lambda _: asking)
    # As if these settings had been approved with the model.
    monkeypatch.setattr(trust, "doubt_of_approval", lambda *_, **__: None)
    production = classify(ws, seam_ids=SEAMS, out=tmp_path / "production", now=now)
    assert production.record.counts.verdicts["review"] > 0
    folder = classify(ws, seam_ids=SEAMS, out=tmp_path / "trial", trial=result.model_id, now=now).folder
    decided = pd.read_parquet(folder / "decisions.parquet")
    assert dict(zip(decided["seam_id"], decided["verdict"], strict=True)) == limit_verdicts(ws)


def test_labels_are_marked_and_the_record_says_trial(trial) -> None:
    table = pd.read_parquet(trial.folder / "indications.parquet")
    assert tuple(table.columns) == TRIAL_INDICATION_COLUMNS
    assert "label" not in table.columns
    assert set(table["trial_label"]) & set(CLASSES)
    assert not table["physics_only"].any()
    assert tuple(pd.read_parquet(trial.folder / "decisions.parquet").columns) == DECISION_COLUMNS
    record = json.loads((trial.folder / "trial.json").read_text())
    assert record["trial"] is True
    assert record["physics_only"] is False
    assert not (trial.folder / "decision.json").exists()


def test_a_trial_is_read_as_decisions_only_on_demand(trial) -> None:
    with pytest.raises(BadInput, match="a trial run: an unapproved model labelled it"):
        read_decisions(trial.folder)
    indications, _, record = read_decisions(trial.folder, trial=True)
    assert isinstance(record, TrialRecord)
    assert "label" in indications.columns


def test_trials_are_kept_apart_from_the_newest_decisions_by_mix_and_show(
    trained: Trained, now: datetime
) -> None:
    ws, result = trained
    later = now + timedelta(hours=1)
    tried = classify(ws, seam_ids=SEAMS, trial=result.model_id, now=later)
    assert tried.folder.name.endswith("Z-trial")
    with pytest.raises(BadInput, match="no decisions yet"):
        newest_decisions(ws)
    with pytest.raises(BadInput, match="no decisions yet"):
        flaw_mix(ws)
    assert show(ws, SEAMS[0]).labels == {}
    counted = flaw_mix(ws, tried.folder)
    assert counted.trial
    assert not counted.physics_only


def test_an_unknown_model_cannot_be_tried(trained: Trained, now: datetime) -> None:
    with pytest.raises(BadInput, match="no model 'm-0099'"):
        classify(trained[0], seam_ids=SEAMS, trial="m-0099", now=now)


def test_a_changed_model_cannot_be_tried(
    untrained_copy: Workspace,
    quick_settings: Callable[[Workspace], None],
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(stage, "record_run", lambda *_: True)
    quick_settings(untrained_copy)
    model = train(untrained_copy, now=now)
    path = model.folder / "novelty.json"
    path.write_bytes(path.read_bytes() + b" ")
    with pytest.raises(Refused, match="the file is not the one that was saved"):
        classify(untrained_copy, seam_ids=SEAMS, trial=model.model_id, now=now)


def test_a_physics_only_model_labels_a_trial_run_and_is_marked_in_every_row(
    without_sections: Workspace,
    with_physics: SimulatedTable,
    quick_settings: Callable[[Workspace], None],
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ws = without_sections
    monkeypatch.setattr(stage, "record_run", lambda *_: True)
    text = ws.settings_path.read_text()
    candidates = 'candidates = ["prior", "hand_rule", "logistic", "lightgbm"]'
    assert candidates in text
    ws.settings_path.write_text(text.replace(candidates, 'candidates = ["lightgbm"]'))
    model = train(ws, physics="implanted", now=now)
    place = ["--workspace", str(ws.root)]
    seams = [word for seam in SEAMS for word in ("--seam", seam)]
    shown = CliRunner().invoke(app, ["classify", "--trial", model.model_id, *seams, *place])
    assert shown.exit_code == 0, shown.output
    said = shown.output.replace("\n", " ")
    assert "trial run: m-0001 is on trial" in said
    assert "physics_only: the model was learnt from simulation alone" in said
    assert "Model: m-0001, on trial, physics_only" in said
    (folder,) = ws.decisions_dir.glob("*-trial")
    table = pd.read_parquet(folder / "indications.parquet")
    assert table["physics_only"].all()
    assert set(table["trial_label"]) & set(CLASSES)
    decided = pd.read_parquet(folder / "decisions.parquet")
    assert dict(zip(decided["seam_id"], decided["verdict"], strict=True)) == limit_verdicts(ws)
    counted = CliRunner().invoke(app, ["mix", "--decisions", str(folder), *place])
    assert "counted from a trial run" in counted.output.replace("\n", " ")


class Drawn:
    """A model that answers whatever was drawn: right, wrong or nonsense."""

    classes = CLASSES

    def __init__(self, draw: st.DataObject) -> None:
        self._draw = draw

    def answer(self, values, recipes):
        n = len(values)
        several = st.lists(st.integers(-1, 5), min_size=n, max_size=n)  # 5 is no class
        codes = np.array(self._draw.draw(several), dtype=np.int16)
        reasons = np.array(self._draw.draw(several), dtype=np.int8)
        top = self._draw.draw(st.sampled_from([1.0, 0.5, float("nan"), 2.0]))
        probabilities = np.full((n, 5), (1 - top) / 4)
        probabilities[np.arange(n), codes % 5] = top
        sets = codes[:, None] == np.arange(5)
        return Answers(CLASSES, probabilities, codes, sets, np.zeros(n), reasons)


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_whatever_a_model_on_trial_answers_the_verdicts_are_the_limit_rules(
    untrained_shop: Workspace, data: st.DataObject
) -> None:
    ws = untrained_shop
    model = Drawn(data)
    every = ReviewSettings(labels=dict.fromkeys(CLASSES, 0.0), novel=True)
    decider = Decider(
        read_limits(ws.limits_path),
        indication_settings(Settings().describe),
        every,
        TrustedModel(model, "m-0001", "digest", (0, 1)),
        frozenset(),
        trial=True,
    )
    traces = list(SeamStore(ws.traces_dir).iter_traces(SEAMS[:8]))
    decided = decider.decide([trace.seam_id for trace in traces], TraceBatch.of_traces(traces))
    assert decided.verdicts.tolist() == decided.limits.verdicts.tolist()

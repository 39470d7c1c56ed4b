"""A model learnt from simulation alone in MLflow: stored, tagged, and under its own alias."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pandas as pd
import pytest

from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.tracking.runs import CANDIDATE, TRIAL, load_tracked_model
from seamtell.pipeline.train import train
from seamtell.pipeline.workspace import Workspace


def test_it_is_registered_as_a_trial_and_not_as_a_candidate(
    without_sections: Workspace,
    with_physics: SimulatedTable,
    quick_settings: Callable[[Workspace], None],
    now: datetime,
) -> None:
    ws = without_sections
    quick_settings(ws)
    assert train(ws, physics="implanted", now=now).tracked
    settings = read_settings(ws.settings_path)
    model = load_tracked_model(ws, settings, TRIAL)
    frame = pd.DataFrame(with_physics.values[:9], columns=list(with_physics.names)).assign(recipe="R1")
    assert len(model.predict(frame)) == 9
    with pytest.raises(BadInput, match=f"alias '{CANDIDATE}'"):
        load_tracked_model(ws, settings, CANDIDATE)

    from mlflow import MlflowClient

    client = MlflowClient(f"sqlite:///{next(ws.tracking_dir.glob('*.db'))}")
    version = client.get_model_version_by_alias(settings.track.registered_model, TRIAL)
    assert version.tags["seamtell.physics_only"] == "true"
    assert client.get_run(version.run_id).data.tags["seamtell.physics_only"] == "true"

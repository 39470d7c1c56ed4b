"""A model learnt from simulation alone cannot be approved, by no road."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from seamtell.features.descriptors import registry
from seamtell.models.labelled_table import TrainingPlan
from seamtell.models.model_file import model_digest, save_model
from seamtell.models.reasons import Reason
from seamtell.models.simulated_table import SimulatedTable
from seamtell.models.training import train_physics_only
from seamtell.pipeline.approve import approve
from seamtell.pipeline.decisions.trusted_model import trusted_model
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import evaluation_settings_digest, read_settings
from seamtell.pipeline.sign_off import approval_log
from seamtell.pipeline.sign_off.approval_log import Action, SignOff, append_entry, read_log
from seamtell.pipeline.tracking.runs import APPROVED, set_alias
from seamtell.pipeline.workspace import Workspace

WORDS = "learnt from simulation alone; no section has judged it"


@pytest.fixture
def day_one(tmp_path) -> Workspace:
    """A workspace whose only model knows nothing but simulated flaws."""
    ws = init_workspace(tmp_path / "ws")
    rng = np.random.default_rng(3)
    names = registry.model_names()
    truths = np.repeat(["pinhole", "sound"], 20)
    table = SimulatedTable(
        values=rng.normal(size=(40, len(names))) + 2.0 * (truths == "sound")[:, None],
        names=names,
        truths=truths,
        groups=np.array([f"host:{i}" for i in range(40)]),
        recipes=np.full(40, "R1"),
        sizes_mm=np.full(40, 3.0),
        schema_digest=registry.schema_digest(),
    )
    ws.models_dir.mkdir(parents=True, exist_ok=True)
    model = train_physics_only(table, TrainingPlan(candidates=("prior", "hand_rule"), folds=2)).model
    save_model(model, ws.models_dir / "m-0001")
    return ws


def signature(ws: Workspace, now: datetime) -> SignOff:
    return SignOff(
        action=Action.APPROVE,
        time=now,
        by="A. Tester",
        reason="for a test",
        model_id="m-0001",
        model_digest=model_digest(ws.models_dir / "m-0001"),
        sections_digest="",
        limits_digest=read_limits(ws.limits_path).digest,
        criteria_digest="",
        evaluation_digest="",
        software_version="0",
        settings_digest=evaluation_settings_digest(read_settings(ws.settings_path)),
    )


def test_the_stage_refuses_it_in_words(day_one: Workspace, now: datetime) -> None:
    with pytest.raises(Refused, match=WORDS):
        approve(day_one, "m-0001", by="A. Tester", reason="it looks good", now=now)
    assert read_log(day_one) == ()


def test_the_log_refuses_it_whoever_calls(day_one: Workspace, now: datetime) -> None:
    with pytest.raises(Refused, match=WORDS):
        append_entry(day_one, signature(day_one, now))
    assert read_log(day_one) == ()


def test_the_registry_alias_is_refused_it(day_one: Workspace, now: datetime) -> None:
    with pytest.raises(Refused, match=WORDS):
        set_alias(day_one, read_settings(day_one.settings_path), "m-0001", APPROVED, now=now)


def test_a_forged_log_does_not_bring_it_into_production(
    day_one: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(approval_log, "refuse_physics_only", lambda *_: None)
    append_entry(day_one, signature(day_one, now))
    settings, limits = read_settings(day_one.settings_path), read_limits(day_one.limits_path)
    trusted = trusted_model(day_one, settings=settings, limits_digest=limits.digest, now=now)
    assert trusted.model is None
    assert trusted.reason is Reason.NO_APPROVED_MODEL
    assert WORDS in trusted.explanation

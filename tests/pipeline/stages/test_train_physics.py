"""Training with simulated flaws: beside sections, and on day one without any."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from seamtell.models.model_card import ModelCard
from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline import train as stage
from seamtell.pipeline.cli import app
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.evaluation.scopes import split_sections
from seamtell.pipeline.physics import simulated_sections
from seamtell.pipeline.tracking.runs import CANDIDATE, TRIAL, RunRecord
from seamtell.pipeline.train import TooFewSections, TrainResult, train
from seamtell.pipeline.training_files import Split
from seamtell.pipeline.workspace import Workspace

Quick = Callable[[Workspace], None]


@pytest.fixture(autouse=True)
def runs(monkeypatch: pytest.MonkeyPatch) -> list[tuple[RunRecord, str]]:
    """Leave tracking out, which has its own tests; keep what would be tracked."""
    kept: list[tuple[RunRecord, str]] = []

    def record(ws, settings, run, alias) -> bool:
        kept.append((run, alias))
        return True

    monkeypatch.setattr(stage, "record_run", record)
    return kept


def card_of(result: TrainResult) -> ModelCard:
    return ModelCard.model_validate_json((result.folder / "model_card.json").read_bytes())


def test_without_a_section_the_model_is_learnt_from_simulation_alone(
    without_sections: Workspace, with_physics: SimulatedTable, quick_settings: Quick, now: datetime, runs
) -> None:
    quick_settings(without_sections)
    result = train(without_sections, physics="implanted", now=now)
    assert result.physics_only
    assert result.warnings[0].startswith("learnt from simulation alone")
    assert card_of(result).physics_only
    assert result.simulated_flaws == {
        label: int((with_physics.truths == label).sum()) for label in card_of(result).classes
    }
    ((run, alias),) = runs
    assert alias == TRIAL
    assert run.digests["physics_only"] == "true"
    assert run.params["physics_only"] == "true"
    assert run.params["physics"] == "implanted"


def test_too_few_sections_are_kept_for_judging_and_none_is_learnt_from(
    untrained_copy: Workspace, with_physics: SimulatedTable, quick_settings: Quick, now: datetime
) -> None:
    quick_settings(untrained_copy)
    text = untrained_copy.settings_path.read_text()
    untrained_copy.settings_path.write_text(
        text.replace("min_sections_per_class = 8", "min_sections_per_class = 40")
    )
    with pytest.raises(TooFewSections, match="too few sections to train"):
        train(untrained_copy, now=now)
    result = train(untrained_copy, physics="simulated", now=now)
    assert result.physics_only
    split = Split.model_validate_json((result.folder / "split.json").read_bytes())
    assert split.training_section_ids == ()
    assert len(split.held_out_section_ids) == sum(c.held_out for c in result.class_counts) > 100
    assert any("sections are too few to learn from: none was used" in w for w in result.warnings)


def test_with_enough_sections_simulated_flaws_join_and_their_weight_is_tracked(
    untrained_copy: Workspace, with_physics: SimulatedTable, quick_settings: Quick, now: datetime, runs
) -> None:
    quick_settings(untrained_copy)
    result = train(untrained_copy, physics="implanted", now=now)
    assert not result.physics_only
    assert result.simulated_weights == {"prior": 0.0, "hand_rule": 0.0}
    physics = card_of(result).physics
    assert physics is not None
    ((run, alias),) = runs
    assert alias == CANDIDATE
    assert "physics_only" not in run.digests
    assert run.digests["simulated_digest"] == physics.simulated_digest
    assert run.metrics["simulated_flaws"] == sum(physics.flaws_per_class)


def test_flaws_put_into_held_out_coils_do_not_join(
    untrained_copy: Workspace,
    physics_table: SimulatedTable,
    quick_settings: Quick,
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    quick_settings(untrained_copy)
    coils = np.array([f"coil:C{i % 44:03d}" for i in range(len(physics_table))])
    hosted = replace(physics_table, groups=coils)
    monkeypatch.setattr(simulated_sections, "load_simulated", lambda ws, origin: hosted)
    result = train(untrained_copy, physics="implanted", now=now)
    physics = card_of(result).physics
    assert physics is not None
    split = Split.model_validate_json((result.folder / "split.json").read_bytes())
    # Section X0129 is of seam S0129, of coil C043: the sections carry the number of the seam.
    held_out = {f"coil:C{int(section[1:]) // 3:03d}" for section in split.held_out_section_ids}
    assert held_out
    assert not held_out & set(physics.host_groups)
    assert sum(physics.flaws_per_class) < len(hosted)


def test_sections_of_host_coils_added_later_do_not_count_as_held_out(
    untrained_copy: Workspace, with_physics: SimulatedTable, quick_settings: Quick, now: datetime
) -> None:
    quick_settings(untrained_copy)
    result = train(untrained_copy, physics="implanted", now=now)
    split = Split.model_validate_json((result.folder / "split.json").read_bytes())
    host = with_physics.groups[0]
    matched = pd.DataFrame({"section_id": ["new 1", "new 2"], "group": [host, "coil:unseen"]})
    scopes = split_sections(matched, split, card_of(result))
    assert scopes.held_out.tolist() == [False, True]
    assert scopes.unused.tolist() == [True, False]


def test_no_sections_and_no_physics_is_refused_as_ever(without_sections: Workspace, now: datetime) -> None:
    with pytest.raises(BadInput, match="the workspace has no sections"):
        train(without_sections, now=now)


def test_simulated_flaws_that_were_never_made_are_refused(without_sections: Workspace, now: datetime) -> None:
    with pytest.raises(BadInput, match="seamtell implant"):
        train(without_sections, physics="implanted", now=now)


def test_a_physics_only_model_is_not_evaluated(
    without_sections: Workspace, with_physics: SimulatedTable, quick_settings: Quick, now: datetime
) -> None:
    quick_settings(without_sections)
    model_id = train(without_sections, physics="implanted", now=now).model_id
    with pytest.raises(Refused, match="learnt from simulation alone; no section has judged it"):
        evaluate(without_sections, model_id, now=now)


def test_the_command_marks_the_model_and_leads_to_a_trial_run(
    without_sections: Workspace, with_physics: SimulatedTable, quick_settings: Quick
) -> None:
    quick_settings(without_sections)
    place = ["--workspace", str(without_sections.root)]
    shown = CliRunner().invoke(app, ["train", "--physics", "implanted", *place])
    assert shown.exit_code == 0, shown.output
    assert "learnt from simulation alone: no section has judged it" in shown.output.replace("\n", " ")
    assert "simulated flaws: physics judged by physics" in shown.output
    assert "Model m-0001: physics_only" in shown.output
    assert "seamtell classify --trial m-0001" in shown.output
    document = json.loads(
        CliRunner().invoke(app, ["train", "--physics", "simulated", "--json", *place]).stdout
    )
    assert document["physics_only"] is True
    assert document["physics"] == "simulated"


def test_the_candidate_table_has_the_weight_of_the_simulated_flaws(
    untrained_copy: Workspace, with_physics: SimulatedTable, quick_settings: Quick
) -> None:
    quick_settings(untrained_copy)
    place = ["--workspace", str(untrained_copy.root)]
    assert "weight of simulated" not in CliRunner().invoke(app, ["train", *place]).output
    shown = CliRunner().invoke(app, ["train", "--physics", "implanted", *place])
    assert "weight of simulated" in shown.output

"""A model learnt from simulation alone: what it says, and that it passes for nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError
from sklearn.metrics import log_loss

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.features.errors import SeamtellError
from seamtell.models.errors import ModelRefused
from seamtell.models.model_card import ModelCard
from seamtell.models.model_file import load_any_model, load_model, save_model
from seamtell.models.physics_only_model import LABEL_PROBABILITY, PhysicsOnlyModel
from seamtell.models.reasons import Reason
from seamtell.models.training import PhysicsOnlyResult, TrainingPlan, train_physics_only

from .conftest import SCHEMA, make_shop, make_simulated

PLAN = TrainingPlan(candidates=("prior", "hand_rule", "logistic"), folds=3)


@pytest.fixture(scope="module")
def day_one() -> PhysicsOnlyResult:
    return train_physics_only(make_simulated(40), PLAN)


@pytest.fixture(scope="module")
def answers(day_one: PhysicsOnlyResult):
    fresh = make_shop(dict.fromkeys(day_one.model.classes, 60), seed=5)
    return fresh, day_one.model.answer(fresh.values, ["R1"] * len(fresh))


def test_it_is_marked_on_its_card_and_in_its_first_warning(day_one: PhysicsOnlyResult) -> None:
    card = day_one.model.card
    assert card.physics_only
    assert set(card.sections_per_class) == {0}
    assert card.training_section_ids == card.training_groups == ()
    assert card.physics is not None
    assert card.physics.label_probability == LABEL_PROBABILITY
    assert card.physics.flaws_per_class == (40,) * 5
    assert day_one.warnings[0].startswith("learnt from simulation alone: no section has judged it")


def test_the_candidates_are_compared_on_simulated_flaws_of_unseen_groups(day_one: PhysicsOnlyResult) -> None:
    codes = [day_one.model.classes.index(t) for t in day_one.truths.tolist()]
    for score in day_one.candidate_table:
        expected = log_loss(codes, day_one.out_of_fold[score.name], labels=range(5))
        assert score.log_loss == pytest.approx(expected, rel=1e-9)
    assert day_one.model.card.chosen == "logistic"


def test_a_label_clears_the_stated_probability_and_is_not_unlike_the_simulated_flaws(answers) -> None:
    _, given = answers
    labelled = [i for i, label in enumerate(given.labels) if label != UNCLASSIFIED]
    assert 50 < len(labelled) < len(given)
    for i in labelled:
        assert given.probabilities[i].max() >= LABEL_PROBABILITY
        assert given.label_sets[i] == (given.labels[i],)
        assert given.novelty_p[i] >= 0.01
    silent = [i for i in range(len(given)) if i not in labelled]
    assert {given.reasons[i] for i in silent} <= {Reason.AMBIGUOUS, Reason.NOVEL}
    assert all(given.label_sets[i] == () for i in silent)


def test_right_physics_labels_rightly_before_the_first_section(answers) -> None:
    fresh, given = answers
    pairs = [(a, t) for a, t in zip(given.labels, fresh.truths.tolist(), strict=True) if a != UNCLASSIFIED]
    assert np.mean([a == t for a, t in pairs]) > 0.9


def test_what_no_simulated_flaw_resembles_is_novel(day_one: PhysicsOnlyResult) -> None:
    far = day_one.model.probe_values[:1] + 100.0
    given = day_one.model.answer(far, ["R1"])
    assert (given.labels, given.reasons) == ((UNCLASSIFIED,), (Reason.NOVEL,))


def test_unknown_recipes_and_broken_descriptors_get_their_reason(day_one: PhysicsOnlyResult) -> None:
    rows = np.repeat(day_one.model.probe_values[:1], 2, axis=0)
    rows[1, 0] = np.nan
    given = day_one.model.answer(rows, ["R9", "R1"])
    assert given.reasons == (Reason.RECIPE_OUTSIDE_DOMAIN, Reason.NON_FINITE_DESCRIPTOR)


def test_it_comes_back_from_disk_as_what_it_is(day_one: PhysicsOnlyResult, answers, tmp_path: Path) -> None:
    save_model(day_one.model, tmp_path / "m")
    loaded = load_any_model(tmp_path / "m", schema_digest=SCHEMA)
    assert isinstance(loaded, PhysicsOnlyModel)
    fresh, given = answers
    assert loaded.answer(fresh.values, ["R1"] * len(fresh)).labels == given.labels
    assert not (tmp_path / "m" / "calibration.json").exists()
    assert not (tmp_path / "m" / "conformal.json").exists()


def test_whoever_loads_a_model_for_production_is_refused_it(
    day_one: PhysicsOnlyResult, tmp_path: Path
) -> None:
    save_model(day_one.model, tmp_path / "m")
    with pytest.raises(ModelRefused, match="learnt from simulation alone; no section has judged it") as no:
        load_model(tmp_path / "m", schema_digest=SCHEMA)
    assert no.value.reason is Reason.NO_APPROVED_MODEL


def test_a_card_cannot_drop_the_mark(day_one: PhysicsOnlyResult) -> None:
    document = json.loads(day_one.model.card.model_dump_json())
    with pytest.raises(ValidationError, match="physics_only does not agree with the sections"):
        ModelCard.model_validate({**document, "physics_only": False})
    with pytest.raises(ValidationError, match="physics_only does not agree with the sections"):
        ModelCard.model_validate({**document, "training_section_ids": ["S1"]})


def test_too_few_simulated_flaws_are_refused() -> None:
    few = make_simulated(5)
    with pytest.raises(SeamtellError, match="got 0 classes with at least 8 simulated flaws"):
        train_physics_only(few, PLAN)
    one = few.rows(few.truths == "pinhole")
    with pytest.raises(SeamtellError, match="got 1 classes with at least 3 simulated flaws"):
        train_physics_only(one, replace(PLAN, min_sections_per_class=3))


def test_a_class_with_too_few_simulated_flaws_is_left_out_by_name() -> None:
    table = make_simulated(12)
    kept = table.rows((table.truths != "mismatch") | (np.cumsum(table.truths == "mismatch") <= 3))
    result = train_physics_only(kept, replace(PLAN, candidates=("hand_rule",)))
    assert result.left_out_classes == ("mismatch",)
    assert "mismatch is left out: too few simulated flaws of it" in result.warnings

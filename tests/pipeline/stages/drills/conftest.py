"""Training and judging a table of sections without a workspace around it, for many trials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.models.answers import Answers
from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.training import TrainingResult, train_flaw_model
from seamtell.pipeline.evaluation.answered import AnsweredSections, answer_sections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.cross_validation import (
    OutOfFold,
    candidate_calibrations,
    cross_validated_answers,
    cross_validated_candidates,
)
from seamtell.pipeline.evaluation.result import EvaluationResult, Scope
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.labelled import load_labelled
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.sign_off.criteria import Criteria, read_criteria
from seamtell.pipeline.workspace import Workspace

PLAN = TrainingPlan(candidates=("prior", "logistic"), folds=3)
NAMES = (
    "specular_height_db",
    "scatter_height_db",
    "height_ratio_db",
    "specular_fwhm_beams",
    "scatter_fwhm_beams",
    "extent_beams",
    "specular_flatness",
    "scatter_ends_over_middle_db",
)
ABOUT_LABELS = ("right_when_it_speaks", "lack_of_fusion_named", "agreement", "every_class_counts")


@pytest.fixture(scope="session")
def shop_table(untrained_shop: Workspace) -> LabelledTable:
    """The sections of the small shop twice over, with noise, as told by a few descriptors."""
    table = load_labelled(untrained_shop, read_settings(untrained_shop.settings_path)).table
    rng = np.random.default_rng(11)
    rows = np.tile(np.arange(len(table)), 2)
    part = np.repeat(np.arange(2), len(table))
    values = table.values[:, [table.names.index(name) for name in NAMES]]
    noise = 0.05 * values.std(axis=0) * rng.normal(size=(len(rows), len(NAMES)))
    return LabelledTable(
        section_ids=tuple(f"{table.section_ids[row]}-{p}" for row, p in zip(rows, part, strict=True)),
        values=values[rows] + noise,
        names=NAMES,
        truths=table.truths[rows],
        groups=np.array([f"{table.groups[row]}-{p}" for row, p in zip(rows, part, strict=True)]),
        times=table.times[rows],
        recipes=table.recipes[rows],
        schema_digest=table.schema_digest,
    )


@pytest.fixture(scope="session")
def label_criteria() -> Criteria:
    """The criteria of a new workspace that look at labels; the others do not depend on them."""
    every, _ = read_criteria(Path(str(files("seamtell.pipeline") / "defaults" / "criteria.toml")))
    return Criteria(criterion=tuple(one for one in every.criterion if one.id in ABOUT_LABELS))


@dataclass(frozen=True, eq=False)
class Judged:
    """An evaluation with the sections it was counted from and those that trained."""

    result: EvaluationResult
    told: dict[Scope, AnsweredSections]
    taught: LabelledTable


@pytest.fixture(scope="session")
def judge(bare_evaluation: Callable[..., EvaluationResult]) -> Callable[..., Judged]:
    """Train on the older sections with the truths given, and evaluate as the stage does."""

    def run(table: LabelledTable, plan: TrainingPlan = PLAN) -> Judged:
        held_out = np.isin(table.groups, _newest_groups(table))
        trained = train_flaw_model(table.rows(~held_out), plan)
        newest = table.rows(held_out)
        oof = _out_of_fold(trained)
        answers = trained.model.answer(newest.values, newest.recipes.tolist())
        candidates = {
            name: calibration.apply(trained.model.candidate_probabilities(name, newest.values))
            for name, calibration in candidate_calibrations(oof).items()
        }
        told = {
            Scope.HELD_OUT: _answered(Scope.HELD_OUT, newest, answers, candidates),
            Scope.CROSS_VALIDATED: _answered(
                Scope.CROSS_VALIDATED,
                table.rows(np.isin(table.section_ids, trained.section_ids)),
                cross_validated_answers(oof, trained.model.card),
                cross_validated_candidates(oof),
            ),
        }
        return Judged(_evaluation(trained, told, bare_evaluation), told, table.rows(~held_out))

    return run


def _newest_groups(table: LabelledTable) -> np.ndarray:
    names = np.unique(table.groups)
    first = np.array([table.times[table.groups == name].min() for name in names])
    order = names[np.argsort(first, kind="stable")]
    return order[int(0.7 * len(order)) :]


def _out_of_fold(trained: TrainingResult) -> OutOfFold:
    classes = trained.model.card.classes
    codes = np.array([classes.index(truth) for truth in trained.truths], dtype=np.int64)
    return OutOfFold(trained.section_ids, trained.folds, codes, trained.out_of_fold)


def _answered(
    scope: Scope, table: LabelledTable, answers: Answers, candidates: dict[str, np.ndarray]
) -> AnsweredSections:
    n = len(table)
    matched = pd.DataFrame(
        {
            "section_id": table.section_ids,
            "seam_id": [f"seam of {section}" for section in table.section_ids],
            "truth": table.truths,
            "position_mm": 50.0,
            "tolerance_mm": 3.0,
            "purpose": "targeted",
            "matched": True,
            "indication": pd.array([0] * n, dtype="Int64"),
            "distance_mm": 0.0,
            "shared_with": pd.array([pd.NA] * n, dtype="Int64"),
            "welded_at": pd.to_datetime(table.times, utc=True),
            "group": table.groups,
            "recipe": table.recipes,
            "start_mm": 45.0,
            "end_mm": 55.0,
            "left_out": "",
        }
    )
    return answer_sections(scope, matched, answers, candidates, np.zeros(n, dtype=bool))


def _evaluation(
    trained: TrainingResult, told: dict[Scope, AnsweredSections], bare: Callable[..., EvaluationResult]
) -> EvaluationResult:
    card = trained.model.card
    plan = Plan(draws=200)
    scores = {
        scope: score_scope(scope, sections, chosen=card.chosen, error_rate=card.error_rate, plan=plan)
        for scope, sections in told.items()
    }
    return bare(
        scores,
        model_id="m-0001",
        candidate=card.chosen,
        classes=card.classes,
        draws=plan.draws,
        left_out_classes=card.left_out_classes,
    )


@pytest.fixture
def with_truths() -> Callable[[LabelledTable, np.ndarray], LabelledTable]:
    """The same sections with other truths."""
    return lambda table, truths: replace(table, truths=truths)

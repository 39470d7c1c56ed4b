"""Whether the default criteria hold for the sections cut so far, by the program's own statistics."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cutting.population import Population
from seamtell.models.flaw_model import FlawModel
from seamtell.models.labelled_table import TrainingPlan
from seamtell.models.splits import time_ordered_holdout
from seamtell.models.training import train_flaw_model
from seamtell.pipeline.evaluation.answered import answer_sections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import clopper_pearson
from seamtell.pipeline.evaluation.result import EvaluationResult, Outcome, Scope, ScopeResult
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.sign_off.criteria import Criteria, read_criteria
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome
from seamtell.pipeline.sign_off.needed import NeededSections, needed_sections
from seamtell.pipeline.sign_off.statistics import Statistic

__all__ = ["Standing", "own_criteria", "standing"]

HOLDOUT_SHARE = 0.3
CANDIDATE = "lightgbm"
BOOTSTRAP_DRAWS = 200


@dataclass(frozen=True, eq=False)
class Standing:
    """A model taught by the sections so far, and what each criterion says of it.

    `model` is None, and `asked` is empty, while there are too few sections to train.
    """

    model: FlawModel | None
    asked: tuple[NeededSections, ...] = ()
    weighed_failed: tuple[str, ...] = ()
    """Criteria on shares of one class that fail once sections are weighed."""

    @property
    def passed_weighed(self) -> bool:
        """Whether every criterion holds, and those on shares of one class also with weighed sections."""
        return self.passed and not self.weighed_failed

    @property
    def passed(self) -> bool:
        """Whether every criterion holds."""
        return bool(self.asked) and all(one.outcome.passed for one in self.asked)

    @property
    def failed(self) -> tuple[str, ...]:
        """Criteria that do not hold, each once."""
        names = [one.outcome.criterion.id for one in self.asked if not one.outcome.passed]
        return tuple(dict.fromkeys(names))


def own_criteria() -> Criteria:
    """The criteria of a new workspace that indications can meet.

    Left out: what looks at the acceptance record or at a rival, and the share of missed flaws, which
    rests on the random audit alone and so on the same cuts in both arms.
    """
    path = Path(str(files("seamtell.pipeline").joinpath("defaults/criteria.toml")))
    criteria, _ = read_criteria(path)
    kept = tuple(
        one
        for one in criteria.criterion
        if not (one.statistic.in_record or one.statistic.against_approved)
        and one.statistic is not Statistic.MISSED_SHARE
    )
    return criteria.model_copy(update={"criterion": kept})


def standing(
    population: Population,
    cut: NDArray[np.int64],
    criteria: Criteria,
    weights: NDArray[np.float64] | None = None,
    candidate: str = CANDIDATE,
) -> Standing:
    """Train on the older of the sections `cut` and hold the criteria against all of them.

    `weights`, shape (n,), are those of the sections in `cut`.
    """
    table = population.table(cut)
    held_out = time_ordered_holdout(table.groups, table.times, HOLDOUT_SHARE)
    older = table.rows(~held_out)
    plan = TrainingPlan(candidates=(candidate,), folds=3)
    counts = {name: int((older.truths == name).sum()) for name in set(older.truths.tolist())}
    if sum(count >= plan.min_sections_per_class for count in counts.values()) < 2:
        return Standing(None)
    trained = train_flaw_model(older, plan)
    model, rows = trained.model, population.rows.iloc[cut].reset_index(drop=True)
    values = population.values[cut]
    taught = rows["section_id"].isin(trained.section_ids).to_numpy(bool)
    order = {name: i for i, name in enumerate(trained.section_ids)}
    places = np.array([order[name] for name in rows.loc[taught, "section_id"]], dtype=np.int64)
    bootstrap = Plan(seed=1, draws=BOOTSTRAP_DRAWS)
    frames: dict[Scope, pd.DataFrame] = {}

    def scored(scope: Scope, here: NDArray[np.bool_]) -> ScopeResult:
        frame = rows[here].reset_index(drop=True)
        if scope is Scope.HELD_OUT:
            answers = model.answer(values[here], frame["recipe"].tolist())
            forced = model.calibration.apply(model.candidate_probabilities(candidate, values[here]))
        else:
            answers = trained.out_of_fold_answers.take(places)
            forced = trained.out_of_fold[candidate][places]
        exceeds = frame["exceeds_limit"].to_numpy(bool)
        judged = answer_sections(scope, frame, answers, {candidate: forced}, exceeds)
        frames[scope] = judged.frame.assign(weight=1.0 if weights is None else weights[here])
        return score_scope(scope, judged, chosen=candidate, error_rate=plan.error_rate, plan=bootstrap)

    result = EvaluationResult.model_construct(
        model_id="",
        held_out=scored(Scope.HELD_OUT, held_out),
        cross_validated=scored(Scope.CROSS_VALIDATED, taught),
    )
    asked = needed_sections(criteria, result, None)
    failed = [one.outcome.criterion.id for one in asked if not _holds_weighed(one.outcome, frames)]
    return Standing(model, asked, tuple(dict.fromkeys(failed)))


def _holds_weighed(outcome: CriterionOutcome, frames: dict[Scope, pd.DataFrame]) -> bool:
    """Whether a criterion on recall holds with weighed sections; others are not looked at."""
    criterion = outcome.criterion
    if criterion.statistic not in (Statistic.RECALL, Statistic.RECALL_ANSWERED):
        return True
    frame = frames[criterion.sections]
    rows = frame[frame["truth"] == outcome.label]
    if criterion.statistic is Statistic.RECALL_ANSWERED:
        rows = rows[rows["outcome"].isin([Outcome.RIGHT, Outcome.WRONG])]
    weights, right = rows["weight"].to_numpy(float), (rows["outcome"] == Outcome.RIGHT).to_numpy(float)
    if not len(rows):
        return False
    effective = float(weights.sum() ** 2 / (weights**2).sum())
    right_of = min(float(weights @ right / weights.sum()) * effective, effective)
    low, _ = clopper_pearson(right_of, max(effective, 1.0), criterion.level)
    return low >= criterion.bound

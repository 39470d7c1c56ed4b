"""From sectioned indications to a trained model, with the evidence for the choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from seamtell.models.answers import Answers
from seamtell.models.calibration import cross_calibrated, fit_calibration
from seamtell.models.candidates import CANDIDATES, FittedCandidate, in_order
from seamtell.models.class_selection import select_classes
from seamtell.models.conformal import ConformalScores, leave_one_out_p_values, nonconformity
from seamtell.models.flaw_model import FlawModel, decide_labels
from seamtell.models.labelled_table import LabelledTable, TrainingPlan, ordered_classes
from seamtell.models.model_card import (
    FORMAT_VERSION,
    ModelCard,
    PhysicsPart,
    library_versions,
    training_domain,
)
from seamtell.models.novelty import NoveltyModel, fit_novelty, usable_threshold
from seamtell.models.physics_only_training import PhysicsOnlyResult, train_physics_only
from seamtell.models.scoring import CandidateScore, choose, score_candidates
from seamtell.models.simulated_rows import SimulatedRows, join_rows, simulated_rows
from seamtell.models.simulated_table import SimulatedTable
from seamtell.models.simulated_weight import WeightedAnswers, weighted_cross_validate
from seamtell.models.splits import grouped_folds
from seamtell.models.training_warnings import physics_warnings, training_warnings

__all__ = [
    "CandidateScore",
    "LabelledTable",
    "PhysicsOnlyResult",
    "SimulatedTable",
    "TrainingPlan",
    "TrainingResult",
    "train_flaw_model",
    "train_physics_only",
]

_PROBES = 16


@dataclass(frozen=True, eq=False)
class TrainingResult:
    """A trained model and how it was chosen.

    Parameters
    ----------
    model : FlawModel
    candidate_table : tuple of CandidateScore
        Simplest first.
    out_of_fold : mapping of str to array of shape (n, K)
        Uncalibrated probabilities of each candidate for sections it had not seen.
    folds : int array of shape (n,)
    warnings : tuple of str
        Plain sentences.
    left_out_classes : tuple of str
        Classes with too few sections.
    section_ids : tuple of str, length n
        The sections that trained, in the order of `out_of_fold` and `folds`;
        those of left-out classes are not among them.
    truths : str array of shape (n,)
    out_of_fold_answers : Answers
        What the chosen candidate answers for sections it had not seen:
        calibration, conformal set and novelty each without the section itself.
    weighted : mapping of str to WeightedAnswers
        How the sections weighed the simulated flaws, for each candidate; empty without any.
    """

    model: FlawModel
    candidate_table: tuple[CandidateScore, ...]
    out_of_fold: Mapping[str, NDArray[np.float64]]
    folds: NDArray[np.int64]
    warnings: tuple[str, ...]
    left_out_classes: tuple[str, ...]
    section_ids: tuple[str, ...]
    truths: NDArray[np.str_]
    out_of_fold_answers: Answers
    weighted: Mapping[str, WeightedAnswers] = field(default_factory=dict)

    @property
    def simulated_weights(self) -> dict[str, float]:
        """Weight of the simulated flaws in each candidate; empty without any."""
        return {name: one.weight for name, one in self.weighted.items()}


def train_flaw_model(
    table: LabelledTable, plan: TrainingPlan, simulated: SimulatedTable | None = None
) -> TrainingResult:
    """Train all candidates, choose one, and learn calibration, conformal scores and novelty from it.

    The candidates are compared by the log loss of their out-of-fold
    probabilities, calibrated as they would be in use; the simplest within one
    standard error of the best is chosen. The same table and plan give the same
    model, bit for bit.

    Simulated flaws join the fits with a weight that the sections choose (see
    `simulated_weight`). They never judge: out-of-fold answers, calibration,
    conformal scores, novelty and domain are of sections alone.

    Parameters
    ----------
    table : LabelledTable
    plan : TrainingPlan
    simulated : SimulatedTable, optional
        Classes without enough sections are dropped from it.

    Raises
    ------
    SeamtellError
        Fewer than two classes have enough sections (the message says what is
        missing), an unknown candidate, a candidate without its descriptors, or
        simulated flaws with other descriptors.
    """
    names = in_order(plan.candidates)
    kept, left_out = select_classes(table, plan.min_sections_per_class)
    classes = ordered_classes(kept.truths)
    codes = np.array([classes.index(truth) for truth in kept.truths.tolist()], dtype=np.int64)
    folds = grouped_folds(kept.groups, codes, plan.folds, plan.seed)
    extra = None if simulated is None else simulated_rows(simulated, kept, classes)
    weighted = {
        name: weighted_cross_validate(name, kept, codes, classes, folds, plan.seed, extra) for name in names
    }
    out_of_fold = {name: weighted[name].out_of_fold for name in names}
    calibrated = {name: cross_calibrated(out_of_fold[name], codes, folds) for name in names}
    by_size = {name: weighted[name].by_size for name in names}
    scores = score_candidates(names, out_of_fold, calibrated, by_size, codes, kept.groups)
    chosen = choose(scores)
    novelty, distances = fit_novelty(kept.values, codes, folds)
    threshold = usable_threshold(plan.novelty_p, len(kept))
    physics = None if simulated is None else _physics_part(simulated, classes, weighted)
    warnings = (
        *training_warnings(kept, codes, classes, left_out, folds, plan, scores),
        *physics_warnings(physics, classes, chosen),
    )
    margins = nonconformity(out_of_fold[chosen])
    model = FlawModel(
        card=_card(kept, codes, classes, left_out, names, chosen, folds, plan, threshold, warnings, physics),
        candidates={
            name: _fit(name, kept, codes, classes, plan.seed, extra, weighted[name].weight) for name in names
        },
        calibration=fit_calibration(out_of_fold[chosen], codes),
        conformal=ConformalScores.collect(margins, codes),
        novelty=novelty,
        probe_values=kept.values[np.unique(np.linspace(0, len(kept) - 1, _PROBES).astype(int))],
    )
    return TrainingResult(
        model=model,
        candidate_table=scores,
        out_of_fold=out_of_fold,
        folds=folds,
        warnings=warnings,
        left_out_classes=left_out,
        section_ids=kept.section_ids,
        truths=kept.truths,
        out_of_fold_answers=_out_of_fold_answers(
            classes, calibrated[chosen], margins, codes, novelty, distances, plan.error_rate, threshold
        ),
        weighted={} if simulated is None else weighted,
    )


def _fit(
    name: str,
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    seed: int,
    simulated: SimulatedRows | None,
    weight: float,
) -> FittedCandidate:
    rows = join_rows(table, codes, len(classes), simulated, weight)
    return CANDIDATES[name]().fit(
        rows.values, rows.codes, rows.weights, table.names, classes, seed, rows.groups
    )


def _physics_part(
    simulated: SimulatedTable, classes: tuple[str, ...], weighted: Mapping[str, WeightedAnswers]
) -> PhysicsPart:
    return PhysicsPart(
        origin=simulated.origin,
        theory_version=simulated.theory_version,
        physics_digest=simulated.physics_digest,
        simulated_digest=simulated.digest(),
        flaws_per_class=tuple(int((simulated.truths == label).sum()) for label in classes),
        dropped_classes=tuple(x for x in ordered_classes(simulated.truths) if x not in classes),
        host_groups=simulated.host_groups,
        weights={name: one.weight for name, one in weighted.items() if CANDIDATES[name].reads_simulated},
    )


def _out_of_fold_answers(
    classes: tuple[str, ...],
    calibrated: NDArray[np.float64],
    margins: NDArray[np.float64],
    codes: NDArray[np.int64],
    novelty: NoveltyModel,
    distances: NDArray[np.float64],
    error_rate: float,
    threshold: float,
) -> Answers:
    n = len(codes)
    # Each distance is in the pool itself: that is the 1 of its p-value.
    novelty_p = (n - np.searchsorted(novelty.distances, distances, side="left")) / n
    return decide_labels(
        classes=classes,
        probabilities=calibrated,
        p_values=leave_one_out_p_values(margins, codes),
        novelty_p=novelty_p,
        error_rate=error_rate,
        novelty_threshold_p=threshold,
        recipe_known=np.ones(n, dtype=bool),
    )


def _card(
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    left_out: tuple[str, ...],
    names: tuple[str, ...],
    chosen: str,
    folds: NDArray[np.int64],
    plan: TrainingPlan,
    threshold: float,
    warnings: tuple[str, ...],
    physics: PhysicsPart | None,
) -> ModelCard:
    return ModelCard(
        format_version=FORMAT_VERSION,
        schema_digest=table.schema_digest,
        descriptor_names=table.names,
        classes=classes,
        sections_per_class=tuple(np.bincount(codes, minlength=len(classes)).tolist()),
        left_out_classes=left_out,
        candidates=names,
        chosen=chosen,
        error_rate=plan.error_rate,
        novelty_p=plan.novelty_p,
        novelty_threshold_p=threshold,
        seed=plan.seed,
        folds=len(np.unique(folds)),
        domain=training_domain(table.names, table.values, table.recipes),
        training_section_ids=table.section_ids,
        training_groups=tuple(sorted(set(table.groups.tolist()))),
        data_digest=table.digest(),
        library_versions=library_versions(),
        warnings=warnings,
        physics=physics,
    )

"""Training on day one, with no section at all: physics, judged by physics.

The candidates are compared on simulated flaws in coils that they had not seen.
That shows which of them learns the theory best, and nothing of how well the
theory fits the shop: only sections can show that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.candidates import CANDIDATES, in_order
from seamtell.models.class_selection import select_classes
from seamtell.models.class_weights import balanced_weights
from seamtell.models.cross_validation import cross_validate
from seamtell.models.labelled_table import LabelledTable, TrainingPlan, ordered_classes
from seamtell.models.model_card import (
    FORMAT_VERSION,
    ModelCard,
    PhysicsPart,
    library_versions,
    training_domain,
)
from seamtell.models.novelty import fit_novelty, usable_threshold
from seamtell.models.physics_only_model import LABEL_PROBABILITY, PhysicsOnlyModel
from seamtell.models.scoring import CandidateScore, choose, score_candidates
from seamtell.models.simulated_table import SimulatedTable
from seamtell.models.splits import grouped_folds

__all__ = ["PHYSICS_ONLY_WARNING", "PhysicsOnlyResult", "train_physics_only"]

PHYSICS_ONLY_WARNING = (
    "learnt from simulation alone: no section has judged it. It may label in a trial run beside the limit "
    "rule; it cannot be approved"
)
_PROBES = 16


@dataclass(frozen=True, eq=False)
class PhysicsOnlyResult:
    """A model learnt from simulation alone, and how its candidate was chosen.

    Parameters
    ----------
    model : PhysicsOnlyModel
    candidate_table : tuple of CandidateScore
        On simulated flaws of unseen groups; uncalibrated.
    out_of_fold : mapping of str to array of shape (m, K)
    folds : int array of shape (m,)
    truths : str array of shape (m,)
    warnings : tuple of str
        The first says what the model is.
    left_out_classes : tuple of str
        Classes with too few simulated flaws.
    """

    model: PhysicsOnlyModel
    candidate_table: tuple[CandidateScore, ...]
    out_of_fold: Mapping[str, NDArray[np.float64]]
    folds: NDArray[np.int64]
    truths: NDArray[np.str_]
    warnings: tuple[str, ...]
    left_out_classes: tuple[str, ...]


def train_physics_only(simulated: SimulatedTable, plan: TrainingPlan) -> PhysicsOnlyResult:
    """Train all candidates on simulated flaws and choose one by grouped cross-validation on them.

    There is no calibration and there are no conformal sets: those need sections.

    Parameters
    ----------
    simulated : SimulatedTable
    plan : TrainingPlan
        ``min_sections_per_class`` is taken as the fewest simulated flaws of a class.

    Raises
    ------
    SeamtellError
        Fewer than two classes have enough simulated flaws, an unknown candidate,
        or a candidate without its descriptors.
    """
    names = in_order(plan.candidates)
    _check_enough(simulated, plan.min_sections_per_class)
    kept, left_out = select_classes(_as_labelled(simulated), plan.min_sections_per_class)
    classes = ordered_classes(kept.truths)
    codes = np.array([classes.index(truth) for truth in kept.truths.tolist()], dtype=np.int64)
    folds = grouped_folds(kept.groups, codes, plan.folds, plan.seed)
    out_of_fold = {name: cross_validate(name, kept, codes, classes, folds, plan.seed) for name in names}
    no_sizes = dict.fromkeys(names, None)
    scores = score_candidates(names, out_of_fold, out_of_fold, no_sizes, codes, kept.groups)
    novelty, _ = fit_novelty(kept.values, codes, folds)
    weights = balanced_weights(codes, len(classes))
    warnings = (
        PHYSICS_ONLY_WARNING,
        *(f"{label} is left out: too few simulated flaws of it" for label in left_out),
    )
    model = PhysicsOnlyModel(
        card=_card(simulated, kept, codes, classes, left_out, choose(scores), folds, plan, warnings),
        candidates={
            name: CANDIDATES[name]().fit(
                kept.values, codes, weights, kept.names, classes, plan.seed, kept.groups
            )
            for name in names
        },
        novelty=novelty,
        probe_values=kept.values[np.unique(np.linspace(0, len(kept) - 1, _PROBES).astype(int))],
    )
    return PhysicsOnlyResult(model, scores, out_of_fold, folds, kept.truths, warnings, left_out)


def _check_enough(simulated: SimulatedTable, least: int) -> None:
    enough = 0
    for label in ordered_classes(simulated.truths):
        here = simulated.truths == label
        enough += here.sum() >= least and len(set(simulated.groups[here].tolist())) >= 2
    if enough < 2:
        raise SeamtellError(
            f"got {enough} classes with at least {least} simulated flaws in two seams or more, "
            "expected at least 2",
            where=f"simulated flaws, origin {simulated.origin}",
            do="run 'seamtell implant' again with more flaws of each class",
        )


def _as_labelled(simulated: SimulatedTable) -> LabelledTable:
    """The shape that class selection and cross-validation read; never leaves this module."""
    n = len(simulated)
    return LabelledTable(
        section_ids=tuple(f"simulated-{i:06d}" for i in range(n)),
        values=simulated.values,
        names=simulated.names,
        truths=simulated.truths,
        groups=simulated.groups,
        times=np.full(n, np.datetime64("NaT"), dtype="datetime64[us]"),
        recipes=simulated.recipes,
        schema_digest=simulated.schema_digest,
        sizes_mm=simulated.sizes_mm,
    )


def _card(
    simulated: SimulatedTable,
    kept: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    left_out: tuple[str, ...],
    chosen: str,
    folds: NDArray[np.int64],
    plan: TrainingPlan,
    warnings: tuple[str, ...],
) -> ModelCard:
    physics = PhysicsPart(
        origin=simulated.origin,
        theory_version=simulated.theory_version,
        physics_digest=simulated.physics_digest,
        simulated_digest=simulated.digest(),
        flaws_per_class=tuple(np.bincount(codes, minlength=len(classes)).tolist()),
        dropped_classes=left_out,
        host_groups=simulated.host_groups,
        weights={},
        label_probability=LABEL_PROBABILITY,
    )
    return ModelCard(
        format_version=FORMAT_VERSION,
        schema_digest=simulated.schema_digest,
        descriptor_names=simulated.names,
        classes=classes,
        sections_per_class=(0,) * len(classes),
        left_out_classes=left_out,
        candidates=in_order(plan.candidates),
        chosen=chosen,
        error_rate=plan.error_rate,
        novelty_p=plan.novelty_p,
        novelty_threshold_p=usable_threshold(plan.novelty_p, len(kept)),
        seed=plan.seed,
        folds=len(np.unique(folds)),
        domain=training_domain(kept.names, kept.values, kept.recipes),
        training_section_ids=(),
        training_groups=(),
        data_digest=simulated.digest(),
        library_versions=library_versions(),
        warnings=warnings,
        physics=physics,
        physics_only=True,
    )

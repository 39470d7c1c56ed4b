"""What a reader of a trained model must be told, in plain sentences."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.model_card import PhysicsPart
from seamtell.models.scoring import CandidateScore

__all__ = ["physics_warnings", "training_warnings"]

_FEW_SECTIONS = 30
"""With fewer, a 95 % interval of a recall near 0.9 is wider than about 0.2."""


def training_warnings(
    table: LabelledTable,
    codes: NDArray[np.int64],
    classes: tuple[str, ...],
    left_out: tuple[str, ...],
    folds: NDArray[np.int64],
    plan: TrainingPlan,
    scores: tuple[CandidateScore, ...],
) -> tuple[str, ...]:
    """Return the warnings of one training, most serious first."""
    found = [
        f"{label} is left out: fewer than {plan.min_sections_per_class} sections, or all from one coil or "
        "seam; its indications will get another label or none"
        for label in left_out
    ]
    needed = math.ceil(1 / plan.error_rate - 1 - 1e-9)
    for label, count in zip(classes, np.bincount(codes, minlength=len(classes)).tolist(), strict=True):
        if count < needed:
            found.append(
                f"only {count} sections of {label}: at an error rate of {plan.error_rate:g} it can never be "
                f"ruled out (that needs {needed}), so nothing gets another label"
            )
        elif count < _FEW_SECTIONS:
            found.append(f"only {count} sections of {label}: its intervals will be wide")
    return (*found, *_few_in_all(table, folds, plan), *_choice(scores))


def _few_in_all(table: LabelledTable, folds: NDArray[np.int64], plan: TrainingPlan) -> list[str]:
    found = []
    used = len(np.unique(folds))
    if used < plan.folds:
        found.append(f"{used} folds instead of {plan.folds}: a class comes from only {used} coils or seams")
    if 0 < plan.novelty_p <= 1 / (len(table) + 1):
        found.append(
            f"only {len(table)} sections: too few for a novelty p-value below {plan.novelty_p:g}; an "
            f"indication farther off than every section counts as novel, about 1 in {len(table) + 1} of "
            "ordinary ones"
        )
    return found


def _choice(scores: tuple[CandidateScore, ...]) -> list[str]:
    found = []
    chosen = next(row for row in scores if row.chosen)
    if chosen.name == "prior" and len(scores) > 1:
        found.append("no candidate is clearly better than the prior: the model will hardly label anything")
    simpler = scores[: scores.index(chosen)]
    better = [row for row in simpler if row.size_band_log_loss < chosen.size_band_log_loss]
    if better:
        best = min(better, key=lambda row: row.size_band_log_loss)
        found.append(
            f"{chosen.name} is chosen, but on flaw sizes it had not seen {best.name} does better (log loss "
            f"{best.size_band_log_loss:.2f} against {chosen.size_band_log_loss:.2f}): section more sizes"
        )
    return found


def physics_warnings(physics: PhysicsPart | None, classes: tuple[str, ...], chosen: str) -> tuple[str, ...]:
    """Return what a reader must know of the simulated flaws that joined; nothing without any.

    Parameters
    ----------
    physics : PhysicsPart or None
    classes : tuple of str
        In the order of ``physics.flaws_per_class``.
    chosen : str
        The chosen candidate.
    """
    if physics is None:
        return ()
    found = [
        f"simulated {label} is dropped: too few sections of it to judge what simulation teaches"
        for label in physics.dropped_classes
    ]
    found += [
        f"no simulated {label}: it is learnt from its sections alone"
        for label, count in zip(classes, physics.flaws_per_class, strict=True)
        if count == 0
    ]
    if physics.weights.get(chosen) == 0:
        found.append(
            f"the simulated flaws have no weight in {chosen}: on the sections, it does not do clearly "
            "better with them"
        )
    return tuple(found)

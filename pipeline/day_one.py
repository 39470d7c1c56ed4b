"""How good a model was that had no section at all, once there are sections to ask.

The figure beside the ceiling: what simulation alone would have told on the first day.
The model stays what it is, a trial that nobody can approve.
"""

from __future__ import annotations

from dataclasses import dataclass

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.evidence import gather_evidence
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.forced_score import forced_macro_f1
from seamtell.pipeline.verified_model import load_model_for_trial
from seamtell.pipeline.workspace import Workspace

__all__ = ["DayOne", "day_one_score"]


@dataclass(frozen=True)
class DayOne:
    """Macro-F1 of a model without sections, on sections that came later.

    Parameters
    ----------
    candidate : str
    simulated_flaws : int
        What it learnt from.
    macro_f1 : Estimate
        On the held-out sections of another model, label forced.
    """

    candidate: str
    simulated_flaws: int
    macro_f1: Estimate


def day_one_score(ws: Workspace, physics_only_id: str, model_id: str) -> DayOne:
    """Ask a physics-only model the held-out sections of `model_id`.

    Raises
    ------
    BadInput
        The first model has sections of its own, or either does not exist.
    Refused
        A model cannot be trusted.
    """
    model, _ = load_model_for_trial(ws, physics_only_id)
    physics = model.card.physics
    if not model.card.physics_only or physics is None:
        raise BadInput(f"'{physics_only_id}' learnt from sections, expected a model without any")
    evidence = gather_evidence(ws, model_id)
    chosen = model.card.chosen
    macro_f1 = forced_macro_f1(
        evidence, lambda values: model.candidate_probabilities(chosen, values), model.classes
    )
    return DayOne(chosen, sum(physics.flaws_per_class), macro_f1)

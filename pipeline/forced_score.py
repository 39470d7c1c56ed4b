"""Macro-F1 of anybody's answers on the held-out sections of a model, the label forced.

For classifiers that are no model of the workspace to sign for: one that had all the
sections one could wish for, and one that had none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.evidence import Evidence, answered_sections
from seamtell.pipeline.evaluation.result import Estimate, Scope
from seamtell.pipeline.evaluation.side_by_side import forced_agreement
from seamtell.pipeline.labelled import descriptor_values

__all__ = ["forced_macro_f1"]

Predict = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def forced_macro_f1(evidence: Evidence, predict: Predict, classes: Sequence[str]) -> Estimate:
    """Ask `predict` about the same sections, and count as for the model's own candidates.

    Parameters
    ----------
    evidence : Evidence
        Of the model whose held-out sections are asked.
    predict : callable
        Descriptors (n, d), in the order of that model's card, to probabilities (n, K).
    classes : sequence of str, length K
        What the columns are; a class of the model that is not among them is never answered.
    """
    answered = answered_sections(evidence, Scope.HELD_OUT)
    card = evidence.model.card
    values = descriptor_values(
        answered.frame[answered.indicated], evidence.labelled.indications, card.descriptor_names
    )
    theirs = predict(values)
    probabilities = np.full((len(answered.frame), len(card.classes)), np.nan)
    probabilities[answered.indicated] = np.column_stack(
        [theirs[:, classes.index(c)] if c in classes else np.zeros(len(values)) for c in card.classes]
    )
    return forced_agreement(answered, probabilities, Plan(seed=card.seed)).macro_f1

"""A model learnt from simulation alone: it may be tried beside the limit rule, and nothing else.

It is a type of its own and no `FlawModel`: it has no calibration and no
conformal sets, for no section has judged it, so whatever approves, evaluates
or trusts a model cannot take it by mistake.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.answers import Answers
from seamtell.models.fitted_model import FittedModel
from seamtell.models.reasons import Reason

__all__ = ["LABEL_PROBABILITY", "PhysicsOnlyModel"]

LABEL_PROBABILITY = 0.9
"""Least probability of a label. Invented: no section says what a stated 0.9 is worth."""


@dataclass(frozen=True, eq=False)
class PhysicsOnlyModel(FittedModel):
    """Candidates and novelty, both learnt from simulated flaws.

    Its probabilities are the candidate's own, not calibrated: they say how well
    the theory tells its own flaws apart, with every flaw equally common.
    """

    def answer(self, values: NDArray[np.float64], recipes: Sequence[str]) -> Answers:
        """Label what clears the card's threshold and resembles the simulated flaws.

        Parameters
        ----------
        values : array of shape (n, d)
            Descriptors in the order of ``card.descriptor_names``.
        recipes : sequence of str, length n

        Returns
        -------
        Answers
            ``label_sets`` hold the label alone, or nothing: there are no conformal sets.

        Raises
        ------
        SeamtellError
            Another number of descriptors or of recipes.
        """
        rows, known = self.checked_questions(values, recipes)
        raw = self.candidate_probabilities(self.card.chosen, rows)
        raw[~known] = np.nan
        novelty_p = self.novelty.p_values(rows)
        labels, reasons = [], []
        for i in range(len(rows)):
            reason = self._reason(bool(known[i]), raw[i], float(novelty_p[i]))
            reasons.append(reason)
            labels.append(UNCLASSIFIED if reason else self.classes[int(raw[i].argmax())])
        return Answers(
            classes=self.classes,
            probabilities=raw,
            labels=tuple(labels),
            label_sets=tuple(() if label == UNCLASSIFIED else (label,) for label in labels),
            novelty_p=novelty_p,
            reasons=tuple(reasons),
        )

    def _reason(self, recipe_known: bool, probabilities: NDArray[np.float64], novelty_p: float) -> str:
        """Why there is no label; empty when there is one."""
        if not recipe_known:
            return Reason.RECIPE_OUTSIDE_DOMAIN.value
        if not np.isfinite(probabilities).all():
            return Reason.NON_FINITE_DESCRIPTOR.value
        if novelty_p < self.card.novelty_threshold_p:
            return Reason.NOVEL.value
        physics = self.card.physics
        least = LABEL_PROBABILITY if physics is None else physics.label_probability or LABEL_PROBABILITY
        return "" if probabilities.max() >= least else Reason.AMBIGUOUS.value

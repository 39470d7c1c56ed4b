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

from seamtell.models.answers import NO_CODE, Answers
from seamtell.models.fitted_model import WHY_NOT, FittedModel

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
            ``sets`` hold the label alone, or nothing: there are no conformal sets.

        Raises
        ------
        SeamtellError
            Another number of descriptors or of recipes.
        """
        rows, known = self.checked_questions(values, recipes)
        raw = self.candidate_probabilities(self.card.chosen, rows)
        raw[~known] = np.nan
        novelty_p = self.novelty.p_values(rows)
        answered = np.asarray(np.isfinite(raw).all(axis=1), dtype=np.bool_)
        best = np.where(answered, np.where(answered[:, None], raw, 0.0).argmax(axis=1), 0)
        with np.errstate(invalid="ignore"):
            clear = raw[np.arange(len(raw)), best] >= self._least_probability
            why_not = [~known, ~answered, novelty_p < self.card.novelty_threshold_p, ~clear]
        reason_codes = np.select(why_not, list(WHY_NOT), NO_CODE).astype(np.int8)
        codes = np.where(reason_codes == NO_CODE, best, NO_CODE).astype(np.int16)
        sets = codes[:, None] == np.arange(len(self.classes))
        return Answers(self.classes, raw, codes, sets, novelty_p, reason_codes)

    @property
    def _least_probability(self) -> float:
        physics = self.card.physics
        return LABEL_PROBABILITY if physics is None else physics.label_probability or LABEL_PROBABILITY

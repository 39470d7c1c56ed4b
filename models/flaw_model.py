"""The trained model as a whole: candidates, calibration, conformal sets, novelty, card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.models.answers import NO_CODE, Answers
from seamtell.models.calibration import Calibration
from seamtell.models.conformal import ConformalScores, nonconformity
from seamtell.models.fitted_model import WHY_NOT, FittedModel
from seamtell.models.model_card import DescriptorRange, LibraryVersions, ModelCard, TrainingDomain

__all__ = ["DescriptorRange", "FlawModel", "LibraryVersions", "ModelCard", "TrainingDomain", "decide_labels"]


@dataclass(frozen=True, eq=False)
class FlawModel(FittedModel):
    """A trained model. Made by `train_flaw_model` or `load_model`.

    Parameters
    ----------
    card : ModelCard
    candidates : mapping of str to FittedCandidate
        All candidates, fitted on all training sections; the card names the chosen one.
    novelty : NoveltyModel
        Learnt from the training sections.
    probe_values : array of shape (m, d)
        Descriptors of some training sections; a loaded model must answer them as the saved one did.
    calibration, conformal
        Learnt from out-of-fold answers of the chosen candidate.
    """

    calibration: Calibration
    conformal: ConformalScores

    def answer(self, values: NDArray[np.float64], recipes: Sequence[str]) -> Answers:
        """Answer for a batch of indications.

        Parameters
        ----------
        values : array of shape (n, d)
            Descriptors in the order of ``card.descriptor_names``.
        recipes : sequence of str, length n

        Raises
        ------
        SeamtellError
            Another number of descriptors or of recipes.
        """
        rows, known = self.checked_questions(values, recipes)
        raw = self.candidate_probabilities(self.card.chosen, rows)
        raw[~known] = np.nan
        usable = np.isfinite(raw).all(axis=1)
        p_values = np.full_like(raw, np.nan)
        calibrated = np.full_like(raw, np.nan)
        if usable.any():
            p_values[usable] = self.conformal.p_values(nonconformity(raw[usable]))
            calibrated[usable] = self.calibration.apply(raw[usable])
        return decide_labels(
            classes=self.classes,
            probabilities=calibrated,
            p_values=p_values,
            novelty_p=self.novelty.p_values(rows),
            error_rate=self.card.error_rate,
            novelty_threshold_p=self.card.novelty_threshold_p,
            recipe_known=known,
        )


def decide_labels(
    *,
    classes: tuple[str, ...],
    probabilities: NDArray[np.float64],
    p_values: NDArray[np.float64],
    novelty_p: NDArray[np.float64],
    error_rate: float,
    novelty_threshold_p: float,
    recipe_known: NDArray[np.bool_],
) -> Answers:
    """Turn p-values into labels, or into a reason for none.

    The label is the single member of the conformal set. No label when the
    recipe is new, a descriptor is not finite, the indication is novel, or the
    set does not have exactly one member; the first of these that holds is the reason.

    Parameters
    ----------
    classes : tuple of str, length K
    probabilities, p_values : arrays of shape (n, K)
        NaN rows where there are none.
    novelty_p : array of shape (n,)
    error_rate, novelty_threshold_p : float
    recipe_known : bool array of shape (n,)
    """
    with np.errstate(invalid="ignore"):  # a row of NaN has the empty set
        sets = np.asarray(p_values > error_rate, dtype=np.bool_)
        novel = novelty_p < novelty_threshold_p
    why_not = [~recipe_known, ~np.isfinite(probabilities).all(axis=1), novel, sets.sum(axis=1) != 1]
    reason_codes = np.select(why_not, list(WHY_NOT), NO_CODE).astype(np.int8)
    codes = np.where(reason_codes == NO_CODE, sets.argmax(axis=1), NO_CODE).astype(np.int16)
    return Answers(classes, probabilities, codes, sets, novelty_p, reason_codes)

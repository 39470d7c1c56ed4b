"""The trained model as a whole: candidates, calibration, conformal sets, novelty, card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.features.errors import SeamtellError
from seamtell.models.answers import Answers
from seamtell.models.calibration import Calibration
from seamtell.models.candidate import FittedCandidate
from seamtell.models.conformal import ConformalScores, nonconformity
from seamtell.models.novelty import NoveltyModel
from seamtell.models.reasons import Reason

__all__ = ["DescriptorRange", "FlawModel", "LibraryVersions", "ModelCard", "TrainingDomain", "decide_labels"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class DescriptorRange(_Part):
    """Smallest and largest value of one descriptor over the training sections."""

    name: str
    low: float
    high: float


class TrainingDomain(_Part):
    """Where the model has been: outside of it, it says nothing."""

    recipes: tuple[str, ...]
    ranges: tuple[DescriptorRange, ...]


class LibraryVersions(_Part):
    """What the model was trained with; other versions load it when the stored probe comes out the same."""

    python: str
    numpy: str
    scipy: str
    scikit_learn: str
    lightgbm: str


class ModelCard(_Part):
    """All that a reader must know of a model; holds no time and no path, so equal data give an equal card."""

    format_version: int
    schema_digest: str
    descriptor_names: tuple[str, ...]
    classes: tuple[str, ...]
    sections_per_class: tuple[int, ...]
    left_out_classes: tuple[str, ...]
    candidates: tuple[str, ...]
    chosen: str
    error_rate: float
    """A conformal set misses the true label at most this often, in each class."""
    novelty_p: float
    """What the plan asked for."""
    novelty_threshold_p: float
    """What is used: larger than `novelty_p` when there are too few sections to resolve that."""
    seed: int
    folds: int
    domain: TrainingDomain
    training_section_ids: tuple[str, ...]
    training_groups: tuple[str, ...]
    data_digest: str
    library_versions: LibraryVersions
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class FlawModel:
    """A trained model. Made by `train_flaw_model` or `load_model`.

    Parameters
    ----------
    card : ModelCard
    candidates : mapping of str to FittedCandidate
        All candidates, fitted on all training sections; the card names the chosen one.
    calibration, conformal, novelty
        Learnt from out-of-fold answers of the chosen candidate.
    probe_values : array of shape (m, d)
        Descriptors of some training sections; a loaded model must answer them as the saved one did.
    """

    card: ModelCard
    candidates: Mapping[str, FittedCandidate]
    calibration: Calibration
    conformal: ConformalScores
    novelty: NoveltyModel
    probe_values: NDArray[np.float64]

    @property
    def classes(self) -> tuple[str, ...]:
        """Flaw labels in the order of the probability columns."""
        return self.card.classes

    def candidate_probabilities(self, name: str, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return uncalibrated probabilities of one candidate.

        Parameters
        ----------
        name : str
        values : array of shape (n, d)

        Returns
        -------
        array of shape (n, K)
            NaN rows where a descriptor is not finite.

        Raises
        ------
        SeamtellError
            No such candidate, or another number of descriptors.
        """
        if name not in self.candidates:
            raise SeamtellError(f"got the candidate '{name}', expected one of {', '.join(self.candidates)}")
        rows = self._checked(values)
        finite = np.isfinite(rows).all(axis=1)
        probabilities = np.full((len(rows), len(self.classes)), np.nan)
        if finite.any():
            # Finite but absurd descriptors may overflow; their rows come out NaN and get no label.
            with np.errstate(all="ignore"):
                probabilities[finite] = self.candidates[name].predict_proba(rows[finite])
        return probabilities

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
        rows = self._checked(values)
        if len(recipes) != len(rows):
            raise SeamtellError(
                f"got {len(recipes)} recipes, expected one for each of {len(rows)} indications"
            )
        known = np.isin(np.asarray(recipes, dtype=np.str_), np.array(self.card.domain.recipes))
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

    def _checked(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        rows = np.ascontiguousarray(values, dtype=np.float64)
        d = len(self.card.descriptor_names)
        if rows.ndim != 2 or rows.shape[1] != d:
            raise SeamtellError(f"got descriptors of shape {rows.shape}, expected (n, {d})")
        return rows


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
    labels, label_sets, reasons = [], [], []
    for i in range(len(probabilities)):
        label_set = tuple(c for c, p in zip(classes, p_values[i], strict=True) if p > error_rate)
        reason = ""
        if not recipe_known[i]:
            reason = Reason.RECIPE_OUTSIDE_DOMAIN.value
        elif not np.isfinite(probabilities[i]).all():
            reason = Reason.NON_FINITE_DESCRIPTOR.value
        elif novelty_p[i] < novelty_threshold_p:
            reason = Reason.NOVEL.value
        elif len(label_set) != 1:
            reason = Reason.AMBIGUOUS.value
        labels.append(UNCLASSIFIED if reason else label_set[0])
        label_sets.append(label_set)
        reasons.append(reason)
    return Answers(classes, probabilities, tuple(labels), tuple(label_sets), novelty_p, tuple(reasons))

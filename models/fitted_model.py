"""What every trained model has, whatever taught it: card, fitted candidates, novelty, probe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.answers import reason_code
from seamtell.models.candidate import FittedCandidate
from seamtell.models.model_card import ModelCard
from seamtell.models.novelty import NoveltyModel
from seamtell.models.reasons import Reason

__all__ = ["WHY_NOT", "FittedModel"]

WHY_NOT = tuple(
    reason_code(reason)
    for reason in (
        Reason.RECIPE_OUTSIDE_DOMAIN,
        Reason.NON_FINITE_DESCRIPTOR,
        Reason.NOVEL,
        Reason.AMBIGUOUS,
    )
)
"""Codes of what keeps a model from a label, in the order that it looks; the first that holds is told."""


@dataclass(frozen=True, eq=False)
class FittedModel:
    """The common part of `FlawModel` and `PhysicsOnlyModel`; answers nothing by itself.

    Parameters
    ----------
    card : ModelCard
    candidates : mapping of str to FittedCandidate
        All candidates; the card names the chosen one.
    novelty : NoveltyModel
    probe_values : array of shape (m, d)
        Descriptors that a loaded model must answer as the saved one did.
    """

    card: ModelCard
    candidates: Mapping[str, FittedCandidate]
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

    def checked_questions(
        self, values: NDArray[np.float64], recipes: Sequence[str]
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the descriptors as an array of shape (n, d), and whether each recipe is known.

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
        known = frozenset(self.card.domain.recipes)
        return rows, np.fromiter(map(known.__contains__, recipes), np.bool_, len(rows))

    def _checked(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        rows = np.ascontiguousarray(values, dtype=np.float64)
        d = len(self.card.descriptor_names)
        if rows.ndim != 2 or rows.shape[1] != d:
            raise SeamtellError(f"got descriptors of shape {rows.shape}, expected (n, {d})")
        return rows

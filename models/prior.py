"""The candidate that looks at nothing: how common each flaw is among the sections."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from seamtell.models.candidate import Candidate, FittedCandidate
from seamtell.models.canonical_json import canonical_json

__all__ = ["FittedPrior", "Prior"]


@dataclass(frozen=True)
class FittedPrior(FittedCandidate):
    """The share of each class, length K."""

    shares: tuple[float, ...]

    def predict_proba(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the same row for every indication, shape (n, K)."""
        return np.tile(np.array(self.shares), (len(values), 1))

    def to_files(self) -> dict[str, bytes]:
        """Return one JSON file."""
        return {"prior.json": canonical_json({"shares": list(self.shares)})}

    @classmethod
    def from_files(cls, files: Mapping[str, bytes]) -> Self:
        """Rebuild from `to_files`."""
        return cls(tuple(float(s) for s in json.loads(files["prior.json"])["shares"]))


class Prior(Candidate):
    """Shares of the classes with one section added to each; what any other candidate must beat."""

    name: ClassVar[str] = "prior"
    fitted: ClassVar[type[FittedCandidate]] = FittedPrior

    def fit(
        self,
        values: NDArray[np.float64],  # noqa: ARG002
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],  # noqa: ARG002 (balanced weights would leave no prior)
        names: tuple[str, ...],  # noqa: ARG002
        classes: tuple[str, ...],
        seed: int,  # noqa: ARG002
        groups: NDArray[np.str_] | None = None,  # noqa: ARG002
    ) -> FittedPrior:
        """Count the classes; descriptors and weights are not read."""
        counts = np.bincount(codes, minlength=len(classes)) + 1.0
        return FittedPrior(tuple((counts / counts.sum()).tolist()))

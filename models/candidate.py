"""What every candidate model offers, before and after fitting."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

__all__ = ["Candidate", "FittedCandidate"]


class FittedCandidate(ABC):
    """A fitted candidate: probabilities in, and files out and back in without loss."""

    @abstractmethod
    def predict_proba(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return uncalibrated probabilities of shape (n, K) for finite descriptors of shape (n, d)."""

    @abstractmethod
    def to_files(self) -> dict[str, bytes]:
        """Return file name to content; the same fit gives the same bytes."""

    @classmethod
    @abstractmethod
    def from_files(cls, files: Mapping[str, bytes]) -> Self:
        """Rebuild from what `to_files` gave; the probabilities are the same."""


class Candidate(ABC):
    """A way to learn the flaw from the descriptors; holds no state.

    The probabilities of a fitted candidate follow the class weights, so with
    balanced weights they leave out how common each flaw is; `calibration` puts
    that back.
    """

    name: ClassVar[str]
    fitted: ClassVar[type[FittedCandidate]]
    reads_simulated: ClassVar[bool] = False
    """Whether simulated flaws may join its sections; shares and two thresholds need none."""

    @abstractmethod
    def fit(
        self,
        values: NDArray[np.float64],
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],
        names: tuple[str, ...],
        classes: tuple[str, ...],
        seed: int,
        groups: NDArray[np.str_] | None = None,
    ) -> FittedCandidate:
        """Fit; the same input gives the same model.

        Parameters
        ----------
        values : array of shape (n, d)
            Finite descriptors.
        codes : int array of shape (n,)
            Index into `classes`; every class occurs.
        weights : array of shape (n,)
            Weight of each row; sections alone have mean 1.
        names : tuple of str, length d
            Descriptor names.
        classes : tuple of str, length K
        seed : int
        groups : str array of shape (n,), optional
            Sections that must stay together when the candidate splits its rows;
            every section is its own group when left out.
        """

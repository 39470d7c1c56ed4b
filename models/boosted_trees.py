"""Gradient-boosted trees by LightGBM, held back for few labels and kept as LightGBM's own text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.candidate import Candidate, FittedCandidate
from seamtell.models.tree_tables import MOST_LEAVES, TreeTables

if TYPE_CHECKING:
    import lightgbm

__all__ = ["MOST_TREES", "BoostedTrees", "FittedBoostedTrees", "grow_trees"]

MOST_TREES = 300
"""Trees in all, over the classes: one a class and round."""

_FILE = "lightgbm.txt"
_SAME = 1e-12
"""Two ways of asking the same trees differ by less: rounding of one softmax."""


class FittedBoostedTrees(FittedCandidate):
    """A LightGBM text model; the text is the model, so saving and loading lose nothing.

    Trees as small as training makes them are asked through tables, which give LightGBM's
    own numbers many times faster; LightGBM itself asks any others.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._asked: TreeTables | lightgbm.Booster = TreeTables.of_text(text) or _booster(text)

    def predict_proba(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return probabilities of shape (n, K)."""
        if isinstance(self._asked, TreeTables):
            return self._asked.probabilities(values)
        return _predicted(self._asked, values)

    def to_files(self) -> dict[str, bytes]:
        """Return one text file."""
        return {_FILE: self._text.encode("utf-8")}

    @classmethod
    def from_files(cls, files: Mapping[str, bytes]) -> Self:
        """Rebuild from `to_files`."""
        return cls(files[_FILE].decode("utf-8"))


class BoostedTrees(Candidate):
    """Small, shrunken trees on random halves of the descriptors."""

    name: ClassVar[str] = "lightgbm"
    fitted: ClassVar[type[FittedCandidate]] = FittedBoostedTrees
    reads_simulated: ClassVar[bool] = True

    def fit(
        self,
        values: NDArray[np.float64],
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],
        names: tuple[str, ...],  # noqa: ARG002
        classes: tuple[str, ...],
        seed: int,
        groups: NDArray[np.str_] | None = None,  # noqa: ARG002
    ) -> FittedBoostedTrees:
        """Fit `MOST_TREES` trees or a few less."""
        return grow_trees(values, codes, weights, len(classes), seed)


def grow_trees(
    values: NDArray[np.float64],
    codes: NDArray[np.int64],
    weights: NDArray[np.float64],
    classes: int,
    seed: int,
    most_trees: int = MOST_TREES,
) -> FittedBoostedTrees:
    """Grow `most_trees` trees, or a few less where the number of classes does not divide it.

    Raises
    ------
    SeamtellError
        The tables of the trees do not give LightGBM's own probabilities.
    """
    import lightgbm

    data = lightgbm.Dataset(
        values, label=codes, weight=weights, params={"verbosity": -1, "min_data_in_bin": 1, "max_bin": 63}
    )
    rounds = most_trees // classes
    booster = lightgbm.train(_parameters(len(codes), classes, seed), data, num_boost_round=rounds)
    fitted = FittedBoostedTrees(booster.model_to_string())
    if np.abs(fitted.predict_proba(values) - _predicted(booster, values)).max() > _SAME:
        raise SeamtellError(
            "the tables of the trees give other probabilities than LightGBM itself",
            do="use the version of lightgbm that requirements.lock names",
        )
    return fitted


def _booster(text: str) -> lightgbm.Booster:
    import lightgbm

    return lightgbm.Booster(model_str=text)


def _predicted(booster: lightgbm.Booster, values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(booster.predict(values, num_threads=1), dtype=np.float64)


def _parameters(n: int, classes: int, seed: int) -> dict[str, Any]:
    return {
        "objective": "multiclass",
        "num_class": classes,
        "learning_rate": 0.08,
        "num_leaves": MOST_LEAVES,
        "max_depth": 4,
        # A leaf of very few sections would learn the examiner's slips.
        "min_data_in_leaf": min(8, max(2, n // 25)),
        "min_sum_hessian_in_leaf": 0.1,
        "lambda_l2": 3.0,
        "feature_fraction": 0.5,
        "bagging_fraction": 0.8,
        "bagging_freq": 1,
        "max_bin": 63,
        "min_data_in_bin": 1,
        "seed": seed,
        "deterministic": True,
        "force_row_wise": True,
        "num_threads": 1,
        "verbosity": -1,
    }

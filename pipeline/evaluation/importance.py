"""Which descriptors matter: how much the log loss grows when one of them is shuffled.

Descriptors of a family resemble each other, and a model can read from one what
was shuffled in another; so the families are shuffled as a whole too. A shuffled
descriptor may form combinations that no indication has: read the figures as an
order of weight, not as effects.

References
----------
Breiman, L. (2001). Random forests. Machine Learning 45, 5-32, section 10.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors import registry
from seamtell.pipeline.evaluation.agreement import log_loss_rows, score_log_loss
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.result import DescriptorImportance, Estimate, FamilyImportance

__all__ = ["TOP_DESCRIPTORS", "Shuffler", "descriptor_importance", "family_importance"]

TOP_DESCRIPTORS = 12

Predictor = Callable[[NDArray[np.float64]], NDArray[np.float64]]


class Shuffler:
    """Log-loss increase on fixed sections when chosen columns are shuffled.

    Parameters
    ----------
    predict : callable
        From descriptors (n, d) to probabilities (n, k).
    values : array of shape (n, d)
    truths, groups : str arrays of shape (n,)
    classes : sequence of str
        Columns of the probabilities; sections of other classes are left out.
    plan : Plan
        Seed of the shuffling, and how the interval is made.
    repeats : int
        Shuffles that are averaged.
    """

    def __init__(
        self,
        predict: Predictor,
        values: NDArray[np.float64],
        truths: NDArray[np.str_],
        groups: NDArray[np.str_],
        classes: Sequence[str],
        plan: Plan,
        repeats: int = 10,
    ) -> None:
        known = np.isin(truths, np.array(classes, dtype=str)) & np.isfinite(values).all(axis=1)
        self._predict, self._plan, self._classes = predict, plan, classes
        self._values, self._truths, self._groups = values[known], truths[known], groups[known]
        rng = np.random.default_rng(plan.seed)
        self._orders = [rng.permutation(len(self._values)) for _ in range(repeats)]
        self._base = self._losses(self._values) if len(self._values) else np.empty(0)

    def _losses(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        truths = np.tile(self._truths, len(values) // len(self._truths))
        return log_loss_rows(truths, self._predict(values), self._classes)

    def increase(self, columns: Sequence[int]) -> Estimate:
        """Mean increase when `columns` are shuffled together, with a grouped bootstrap interval.

        The interval holds the spread over sections, not over training sets.
        """
        if len(self._values) == 0:
            return score_log_loss(np.empty(0), self._groups, self._plan)
        shuffled = np.tile(self._values, (len(self._orders), 1))
        for column in columns:
            shuffled[:, column] = np.concatenate([self._values[order, column] for order in self._orders])
        losses = self._losses(shuffled).reshape(len(self._orders), -1)
        return score_log_loss(losses.mean(axis=0) - self._base, self._groups, self._plan)


def _weight(figure: Estimate) -> float:
    return -np.inf if figure.estimate is None else figure.estimate


def descriptor_importance(
    shuffler: Shuffler, names: Sequence[str], top: int = TOP_DESCRIPTORS
) -> tuple[DescriptorImportance, ...]:
    """The `top` descriptors by log-loss increase, the weightiest first."""
    figures = []
    for column, name in enumerate(names):
        about = registry.by_name(name)
        figures.append(
            DescriptorImportance(
                name=name,
                family=about.family.value,
                unit=about.unit,
                meaning=about.meaning,
                log_loss_increase=shuffler.increase([column]),
            )
        )
    figures.sort(key=lambda figure: -_weight(figure.log_loss_increase))  # stable: ties keep registry order
    return tuple(figures[:top])


def family_importance(shuffler: Shuffler, names: Sequence[str]) -> tuple[FamilyImportance, ...]:
    """Log-loss increase of every family shuffled as a whole, the weightiest first."""
    columns: dict[str, list[int]] = {}
    for column, name in enumerate(names):
        columns.setdefault(registry.by_name(name).family.value, []).append(column)
    figures = [
        FamilyImportance(family=family, descriptors=len(own), log_loss_increase=shuffler.increase(own))
        for family, own in columns.items()
    ]
    return tuple(sorted(figures, key=lambda figure: -_weight(figure.log_loss_increase)))

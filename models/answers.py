"""What a model says about a batch of indications."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.reasons import Reason

__all__ = ["Answerer", "Answers", "unclassified_answers"]


@dataclass(frozen=True, eq=False)
class Answers:
    """One answer an indication; row i of everything belongs to indication i.

    Parameters
    ----------
    classes : tuple of str, length K
        Flaw labels in the order of the probability columns.
    probabilities : array of shape (n, K)
        Calibrated probabilities; a row of NaN where there are none.
    labels : tuple of str, length n
        One of `classes`, or ``unclassified``.
    label_sets : tuple of tuple of str, length n
        The conformal set: every label that cannot be ruled out.
    novelty_p : array of shape (n,)
        Small when the indication is unlike all training sections; NaN where unknown.
    reasons : tuple of str, length n
        Why there is no label (a `Reason`); empty when there is one.
    """

    classes: tuple[str, ...]
    probabilities: NDArray[np.float64]
    labels: tuple[str, ...]
    label_sets: tuple[tuple[str, ...], ...]
    novelty_p: NDArray[np.float64]
    reasons: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.labels)


class Answerer(Protocol):
    """Anything that answers; `FlawModel` is the one that ships."""

    @property
    def classes(self) -> tuple[str, ...]:
        """Flaw labels in the order of the probability columns."""

    def answer(self, values: NDArray[np.float64], recipes: Sequence[str]) -> Answers:
        """Answer for descriptors of shape (n, d) and n recipes."""


def unclassified_answers(n: int, classes: tuple[str, ...], reason: Reason) -> Answers:
    """Return n answers that say nothing, all for one reason.

    Examples
    --------
    >>> unclassified_answers(1, ("pinhole",), Reason.NO_APPROVED_MODEL).labels
    ('unclassified',)
    """
    return Answers(
        classes=classes,
        probabilities=np.full((n, len(classes)), np.nan),
        labels=(UNCLASSIFIED,) * n,
        label_sets=((),) * n,
        novelty_p=np.full(n, np.nan),
        reasons=(reason.value,) * n,
    )

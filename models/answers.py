"""What a model says about a batch of indications, as columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.reasons import Reason

__all__ = ["NO_CODE", "REASONS", "Answerer", "Answers", "reason_code", "unclassified_answers"]

NO_CODE = -1
"""Code of a missing label, and of a missing reason."""

REASONS = tuple(Reason)
"""What the reason codes stand for."""


@dataclass(frozen=True, eq=False)
class Answers:
    """One answer an indication; row i of everything belongs to indication i.

    Parameters
    ----------
    classes : tuple of str, length K
        Flaw labels in the order of the probability columns.
    probabilities : float64 array of shape (n, K)
        Calibrated probabilities; a row of NaN where there are none.
    codes : int16 array of shape (n,)
        The label as index into `classes`; -1 where unclassified.
    sets : bool array of shape (n, K)
        The conformal set: every label that cannot be ruled out.
    novelty_p : float64 array of shape (n,)
        Small when the indication is unlike all training sections; NaN where unknown.
    reason_codes : int8 array of shape (n,)
        Why there is no label, as index into `REASONS`; -1 when there is one.
    """

    classes: tuple[str, ...]
    probabilities: NDArray[np.float64]
    codes: NDArray[np.int16]
    sets: NDArray[np.bool_]
    novelty_p: NDArray[np.float64]
    reason_codes: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.codes)

    @classmethod
    def of_names(
        cls,
        classes: tuple[str, ...],
        probabilities: NDArray[np.float64],
        labels: Sequence[str],
        label_sets: Sequence[Sequence[str]],
        novelty_p: NDArray[np.float64],
        reasons: Sequence[str],
    ) -> Answers:
        """Gather answers that are given by name.

        Raises
        ------
        ValueError
            A name is no class and not ``unclassified``, or a reason is no `Reason`.

        Examples
        --------
        >>> one = np.array([[0.9, 0.1]]), ("pinhole",), (("pinhole",),), np.ones(1), ("",)
        >>> Answers.of_names(("pinhole", "sound"), *one).codes.tolist()
        [0]
        """
        named = (*classes, UNCLASSIFIED)
        codes = np.array([named.index(label) for label in labels], dtype=np.int16)
        codes[codes == len(classes)] = NO_CODE
        sets = np.zeros((len(label_sets), len(classes)), dtype=np.bool_)
        for row, members in zip(sets, label_sets, strict=True):
            row[[classes.index(name) for name in members]] = True
        reason_codes = [REASONS.index(Reason(reason)) if reason else NO_CODE for reason in reasons]
        return cls(classes, probabilities, codes, sets, novelty_p, np.array(reason_codes, dtype=np.int8))

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """One of `classes`, or ``unclassified``, for each indication."""
        named = (*self.classes, UNCLASSIFIED)  # the code -1 finds the last
        return tuple(named[code] for code in self.codes.tolist())

    @cached_property
    def label_sets(self) -> tuple[tuple[str, ...], ...]:
        """The conformal set of each indication, by name."""
        return tuple(
            tuple(name for name, member in zip(self.classes, row, strict=True) if member)
            for row in self.sets.tolist()
        )

    @cached_property
    def reasons(self) -> tuple[str, ...]:
        """Why there is no label, for each indication; empty when there is one."""
        named = (*(reason.value for reason in REASONS), "")
        return tuple(named[code] for code in self.reason_codes.tolist())

    def take(self, rows: NDArray[np.int64] | slice) -> Answers:
        """Return the answers of some rows, in the order of `rows`."""
        return Answers(
            self.classes,
            self.probabilities[rows],
            self.codes[rows],
            self.sets[rows],
            self.novelty_p[rows],
            self.reason_codes[rows],
        )

    def among(self, classes: tuple[str, ...]) -> Answers:
        """Return the same answers with columns for `classes`: NaN for one that is not known here.

        Raises
        ------
        ValueError
            A class of the answers is not among `classes`.
        """
        if classes == self.classes:
            return self
        places = np.array([classes.index(name) for name in self.classes], dtype=np.int16)
        shape = (len(self), len(classes))
        probabilities, sets = np.full(shape, np.nan), np.zeros(shape, dtype=np.bool_)
        probabilities[:, places], sets[:, places] = self.probabilities, self.sets
        codes = np.append(places, np.int16(NO_CODE))[self.codes]
        return Answers(classes, probabilities, codes, sets, self.novelty_p, self.reason_codes)


class Answerer(Protocol):
    """Anything that answers; `FlawModel` is the one that ships."""

    @property
    def classes(self) -> tuple[str, ...]:
        """Flaw labels in the order of the probability columns."""

    def answer(self, values: NDArray[np.float64], recipes: Sequence[str]) -> Answers:
        """Answer for descriptors of shape (n, d) and n recipes, in plain contiguous arrays."""


def reason_code(reason: Reason) -> int:
    """Return the code of `reason`.

    Examples
    --------
    >>> REASONS[reason_code(Reason.NOVEL)].value
    'novel'
    """
    return REASONS.index(reason)


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
        codes=np.full(n, NO_CODE, dtype=np.int16),
        sets=np.zeros((n, len(classes)), dtype=np.bool_),
        novelty_p=np.full(n, np.nan),
        reason_codes=np.full(n, reason_code(reason), dtype=np.int8),
    )

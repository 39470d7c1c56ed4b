"""Sections with the answers they got: the one table that every figure is counted from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.models.answers import Answers
from seamtell.pipeline.evaluation.result import MISSED, SECTION_COLUMNS, Outcome, Scope

__all__ = ["JUDGED", "AnsweredSections", "answer_sections", "answerable"]

JUDGED: tuple[str, ...] = (
    Outcome.RIGHT.value,
    Outcome.WRONG.value,
    Outcome.ABSTAINED.value,
    Outcome.MISSED.value,
    Outcome.QUIET.value,
)
"""Outcomes that the confusion matrix counts."""


@dataclass(frozen=True, eq=False)
class AnsweredSections:
    """All sections of one scope with their answers.

    Parameters
    ----------
    frame : DataFrame
        One row a section, `SECTION_COLUMNS`.
    classes : tuple of str
        Classes of the model, the columns of the probabilities.
    probabilities : array of shape (n, k)
        Calibrated probabilities of the model; NaN rows where there are none.
    candidates : mapping of str to array of shape (n, k)
        Calibrated probabilities of each candidate on the same rows, also where the
        model says nothing (a recipe it does not know).
    """

    frame: pd.DataFrame
    classes: tuple[str, ...]
    probabilities: NDArray[np.float64]
    candidates: Mapping[str, NDArray[np.float64]]

    @property
    def indicated(self) -> NDArray[np.bool_]:
        """Judged sections that matched an indication, shape (n,)."""
        return self.frame["outcome"].isin([Outcome.RIGHT, Outcome.WRONG, Outcome.ABSTAINED]).to_numpy(bool)

    @property
    def scored(self) -> NDArray[np.bool_]:
        """Rows of macro-F1 and kappa: every judged flaw, and sound sections with an indication."""
        return self.indicated | (self.frame["outcome"] == Outcome.MISSED).to_numpy(bool)

    def forced_labels(self, probabilities: NDArray[np.float64]) -> NDArray[np.str_]:
        """Label of the highest probability, shape (n,); ``missed`` without an indication.

        An indicated section without any probability reads ``unclassified``.
        """
        known = np.asarray(np.isfinite(probabilities).all(axis=1))
        best = np.argmax(np.where(known[:, None], probabilities, 0.0), axis=1)
        labels = np.where(known, np.array(self.classes, dtype=object)[best], UNCLASSIFIED)
        return np.where(self.indicated, labels, MISSED).astype(str)


def answerable(matched: pd.DataFrame) -> NDArray[np.bool_]:
    """Sections that get an answer: matched and not left out, shape (n,)."""
    return (matched["matched"] & (matched["left_out"] == "")).to_numpy(bool)


def _outcome(truth: str, answer: str, owner_truth: str | None) -> Outcome:
    """Outcome of a section that is not left out.

    `answer` is empty without a match; `owner_truth` is what the section found that
    judges the indication this one lies in, None where there is none.
    """
    if answer:
        if answer == UNCLASSIFIED:
            return Outcome.ABSTAINED
        return Outcome.RIGHT if answer == truth else Outcome.WRONG
    if owner_truth is None:
        return Outcome.QUIET if truth == Flaw.SOUND else Outcome.MISSED
    # A second cut through the same flaw, or sound metal beside it, is counted with the
    # first; a different flaw that hid in its indication was not shown: missed.
    return Outcome.SHARED if truth in (Flaw.SOUND, owner_truth) else Outcome.MISSED


def _outcomes(matched: pd.DataFrame, answers: NDArray[np.object_]) -> list[Outcome]:
    truths = matched["truth"].astype(str).tolist()
    seams = matched["seam_id"].astype(str).tolist()
    own = zip(seams, matched["indication"].fillna(-1).tolist(), strict=True)
    lies_in = zip(seams, matched["shared_with"].fillna(-1).tolist(), strict=True)
    owner = {key: truth for key, truth in zip(own, truths, strict=True) if key[1] >= 0}
    left_out = matched["left_out"].tolist()
    return [
        Outcome.LEFT_OUT if why else _outcome(truth, str(answer), owner.get(key))
        for why, truth, answer, key in zip(left_out, truths, answers, lies_in, strict=True)
    ]


def _spread(values: NDArray[np.float64], rows: NDArray[np.int64], n: int) -> NDArray[np.float64]:
    full = np.full((n, *values.shape[1:]), np.nan)
    full[rows] = values
    return full


def _spread_text(values: Sequence[str], rows: NDArray[np.int64], n: int) -> NDArray[np.object_]:
    full = np.full(n, "", dtype=object)
    full[rows] = np.array(values, dtype=object)
    return full


def answer_sections(
    scope: Scope,
    matched: pd.DataFrame,
    answers: Answers,
    candidates: Mapping[str, NDArray[np.float64]],
    limit_exceeded: NDArray[np.bool_],
) -> AnsweredSections:
    """Put the answers beside the sections and say what became of each.

    Parameters
    ----------
    scope : Scope
    matched : DataFrame
        All sections of the scope: the columns of `match_sections`, ``start_mm``,
        ``end_mm`` of the matched indication, and ``left_out``.
    answers : Answers
        For the matched rows that are not left out, in their order.
    candidates : mapping of str to array of shape (n_answers, k)
        Probabilities of each candidate for the same rows.
    limit_exceeded : bool array of shape (n_sections,)
        Whether the limit rule detects at each section.
    """
    n = len(matched)
    rows = np.flatnonzero(answerable(matched))
    labels = _spread_text(answers.labels, rows, n)
    outcomes = _outcomes(matched, labels)
    probabilities = _spread(answers.probabilities, rows, n)
    known = np.asarray(np.isfinite(probabilities).all(axis=1))
    best = np.argmax(np.where(known[:, None], probabilities, 0.0), axis=1)
    frame = matched.copy()
    frame["scope"] = scope.value
    frame["outcome"] = [outcome.value for outcome in outcomes]
    without = frame["outcome"].isin([Outcome.MISSED, Outcome.QUIET])
    frame["answer"] = np.where(without, MISSED, labels)
    frame["top_label"] = np.where(known, np.array(answers.classes, dtype=object)[best], "")
    frame["top_probability"] = np.where(known, probabilities[np.arange(n), best], np.nan)
    frame["label_set"] = _spread_text(["+".join(labels) for labels in answers.label_sets], rows, n)
    frame["novelty_p"] = _spread(answers.novelty_p, rows, n)
    frame["limit_exceeded"] = limit_exceeded
    frame["reason"] = np.where(
        frame["left_out"] != "", frame["left_out"], _spread_text(answers.reasons, rows, n)
    )
    return AnsweredSections(
        frame=frame[list(SECTION_COLUMNS)].reset_index(drop=True),
        classes=tuple(answers.classes),
        probabilities=probabilities,
        candidates={name: _spread(values, rows, n) for name, values in candidates.items()},
    )

"""The guarded decision: a model can ask for a review, and can do nothing else.

The verdict of a seam is a function of the limit result and one bool. It takes
no probability, no label and no model, and returns the stricter of two verdicts;
there is no way from a model's answer to a milder one.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.models.answers import Answerer, Answers, unclassified_answers
from seamtell.models.limit_rule import LimitResult
from seamtell.models.reasons import Reason
from seamtell.models.verdict import Verdict

__all__ = ["asks_for_review", "guarded_verdict", "safe_answers"]

_SUM_TOLERANCE = 1e-6


def guarded_verdict(limit: LimitResult, asks_review: bool) -> Verdict:
    """Return the stricter of the limit rule's verdict and what the classifier asks for.

    Parameters
    ----------
    limit : LimitResult
    asks_review : bool
        Whether the classifier asks for a review; a plain bool and nothing else.

    Raises
    ------
    TypeError
        Another type was given.

    Examples
    --------
    >>> guarded_verdict(LimitResult(Verdict.REJECT, ("scatter",), "above_limit"), False).text
    'reject'
    >>> guarded_verdict(LimitResult(Verdict.ACCEPT, (), ""), True).text
    'review'
    """
    if type(asks_review) is not bool or type(limit) is not LimitResult:
        raise TypeError(
            f"got {type(limit).__name__} and {type(asks_review).__name__}, expected LimitResult and bool"
        )
    return max(limit.verdict, Verdict.REVIEW if asks_review else Verdict.ACCEPT)


def asks_for_review(
    answers: Answers, i: int, exceeds_limit: bool, labels: Mapping[str, float], novel: bool
) -> bool:
    """Return whether answer `i` asks for a review of the seam.

    Only an indication below the limit can ask: above it, the seam is rejected.

    Parameters
    ----------
    answers : Answers
    i : int
        Row of the indication.
    exceeds_limit : bool
        Whether the indication exceeds a limit.
    labels : mapping of str to float
        Label to the least probability that asks.
    novel : bool
        Whether a novel indication asks.
    """
    if exceeds_limit:
        return False
    if answers.reasons[i] == Reason.NOVEL:
        return bool(novel)
    label = answers.labels[i]
    if label == UNCLASSIFIED or label not in labels:
        return False
    return bool(answers.probabilities[i, answers.classes.index(label)] >= labels[label])


def safe_answers(
    model: Answerer | None, values: NDArray[np.float64], recipes: Sequence[str], *, budget_s: float
) -> Answers:
    """Ask a model that may be broken; never raises, and returns one valid answer for each row.

    The model runs in a thread of its own with a copy of the descriptors. When it
    raises, takes longer than the budget, or answers in the wrong shape or with
    unknown classes, every row is ``unclassified``; a single row that is not a
    valid answer (no number, not a distribution, a label outside its set) is
    ``unclassified`` by itself. A model that ran out of its budget may still be
    running afterwards: do not ask it again.

    Parameters
    ----------
    model : Answerer or None
        None when there is no approved model.
    values : array of shape (n, d)
    recipes : sequence of str, length n
    budget_s : float
        Longest time to wait, in seconds.
    """
    n = len(values)
    if model is None:
        return unclassified_answers(n, (), Reason.NO_APPROVED_MODEL)
    stated: list[tuple[str, ...]] = []
    outcome: list[Answers] = []

    def ask() -> None:
        try:
            stated.append(_checked_classes(model.classes))
            rows = np.array(values, dtype=np.float64)
            outcome.append(_checked(stated[0], model.answer(rows, tuple(recipes)), n))
        except BaseException:  # noqa: BLE001 (whatever a model raises, in its own thread, is a model error)
            outcome.append(unclassified_answers(n, stated[0] if stated else (), Reason.MODEL_ERROR))

    worker = threading.Thread(target=ask, name="seamtell-model", daemon=True)
    try:
        worker.start()
    except RuntimeError:  # the machine gives no further thread
        return unclassified_answers(n, (), Reason.MODEL_ERROR)
    worker.join(min(budget_s, threading.TIMEOUT_MAX))
    if not outcome:
        return unclassified_answers(n, stated[0] if stated else (), Reason.MODEL_TIMEOUT)
    return outcome[0]


def _checked_classes(classes: tuple[str, ...]) -> tuple[str, ...]:
    known = {flaw.value for flaw in Flaw}
    if type(classes) is not tuple or not classes or not all(type(name) is str for name in classes):
        raise ValueError("classes are not a tuple of names")
    if len(set(classes)) != len(classes) or not set(classes) <= known:
        raise ValueError("unknown or repeated classes")
    return classes


def _checked(classes: tuple[str, ...], given: Answers, n: int) -> Answers:
    """Rebuild the answers from checked copies; raises on anything that is not a batch of n answers."""
    if _checked_classes(given.classes) != classes:
        raise ValueError("other classes than the model states")
    if given.probabilities.shape != (n, len(classes)) or given.novelty_p.shape != (n,):
        raise ValueError("wrong shape")
    labels, label_sets, reasons = given.labels, given.label_sets, given.reasons
    if not all(type(column) is tuple and len(column) == n for column in (labels, label_sets, reasons)):
        raise ValueError("wrong number of answers")
    probabilities = np.array(given.probabilities, dtype=np.float64)
    novelty_p = np.array(given.novelty_p, dtype=np.float64)
    checked = [
        _checked_row(classes, probabilities[i], labels[i], label_sets[i], novelty_p[i], reasons[i])
        for i in range(n)
    ]
    for i, (_, _, reason) in enumerate(checked):
        if reason == Reason.MODEL_ERROR:
            probabilities[i], novelty_p[i] = np.nan, np.nan
    return Answers(
        classes=classes,
        probabilities=probabilities,
        labels=tuple(label for label, _, _ in checked),
        label_sets=tuple(label_set for _, label_set, _ in checked),
        novelty_p=novelty_p,
        reasons=tuple(reason for _, _, reason in checked),
    )


def _checked_row(
    classes: tuple[str, ...],
    probabilities: NDArray[np.float64],
    label: object,
    label_set: object,
    novelty_p: float,
    reason: object,
) -> tuple[str, tuple[str, ...], str]:
    broken: tuple[str, tuple[str, ...], str] = (UNCLASSIFIED, (), Reason.MODEL_ERROR.value)
    if type(label_set) is not tuple or not all(type(name) is str for name in label_set):
        return broken
    members: tuple[str, ...] = label_set
    if not set(members) <= set(classes) or len(set(members)) != len(members):
        return broken
    if not (np.isnan(novelty_p) or 0 <= novelty_p <= 1):
        return broken
    if not (np.isnan(probabilities).all() or _is_distribution(probabilities)):
        return broken
    if type(label) is not str or type(reason) is not str:
        return broken
    if label == UNCLASSIFIED:
        return (label, members, reason) if reason in {r.value for r in Reason} else broken
    labelled = members == (label,) and reason == "" and _is_distribution(probabilities)
    return (label, members, "") if labelled else broken


def _is_distribution(probabilities: NDArray[np.float64]) -> bool:
    return bool((probabilities >= 0).all() and abs(probabilities.sum() - 1) <= _SUM_TOLERANCE)

"""The guarded decision: a model can ask for a review, and can do nothing else.

The verdict of a seam is a function of the limit result and one bool. It takes
no probability, no label and no model, and returns the stricter of two verdicts;
there is no way from a model's answer to a milder one. `guarded_verdict` says so
for one seam and is the specification; `guarded_verdicts` is the same for many.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.models.answers import NO_CODE, REASONS, Answerer, Answers, reason_code, unclassified_answers
from seamtell.models.limit_rule import LimitResult
from seamtell.models.limit_rule_batch import LimitResults
from seamtell.models.reasons import Reason
from seamtell.models.verdict import Verdict

__all__ = ["asks_for_review", "guarded_verdict", "guarded_verdicts", "safe_answers"]

_SUM_TOLERANCE = 1e-6
_NOVEL, _MODEL_ERROR = reason_code(Reason.NOVEL), reason_code(Reason.MODEL_ERROR)


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


def guarded_verdicts(limits: LimitResults, asks_review: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Return the verdict of each seam as `guarded_verdict` does, shape (n,).

    Parameters
    ----------
    limits : LimitResults
        Of n seams.
    asks_review : bool array of shape (n,)
        Whether the classifier asks for a review of the seam; a plain array of bool and nothing else.

    Raises
    ------
    TypeError
        Another type or shape was given.
    """
    if type(limits) is not LimitResults or type(asks_review) is not np.ndarray:
        raise TypeError(
            f"got {type(limits).__name__} and {type(asks_review).__name__}, expected LimitResults and ndarray"
        )
    if asks_review.dtype != np.bool_ or asks_review.shape != limits.verdicts.shape:
        raise TypeError(
            f"got {asks_review.dtype} of shape {asks_review.shape}, expected bool of {limits.verdicts.shape}"
        )
    asked = np.where(asks_review, np.int8(Verdict.REVIEW), np.int8(Verdict.ACCEPT))
    return np.asarray(np.maximum(limits.verdicts, asked), dtype=np.int8)


def asks_for_review(
    answers: Answers, exceeds_limit: NDArray[np.bool_], labels: Mapping[str, float], novel: bool
) -> NDArray[np.bool_]:
    """Return which answers ask for a review of their seam, shape (n,).

    Only an indication below the limit can ask: above it, the seam is rejected.

    Parameters
    ----------
    answers : Answers
    exceeds_limit : bool array of shape (n,)
        Whether the indication exceeds a limit.
    labels : mapping of str to float
        Label to the least probability that asks.
    novel : bool
        Whether a novel indication asks.
    """
    asks = np.zeros(len(answers), dtype=np.bool_)
    if novel:
        asks |= answers.reason_codes == _NOVEL
    labelled = answers.reason_codes == NO_CODE
    for code, name in enumerate(answers.classes):
        if name in labels:
            asks |= labelled & (answers.codes == code) & (answers.probabilities[:, code] >= labels[name])
    return asks & ~exceeds_limit


def safe_answers(
    model: Answerer | None, values: NDArray[np.float64], recipes: Sequence[str], *, budget_s: float
) -> Answers:
    """Ask a model that may be broken; never raises, and returns one valid answer for each row.

    The model runs in a thread of its own with a copy of the descriptors. When it
    raises, takes longer than the budget, or answers in the wrong shape or type or with
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
    """Rebuild the answers from checked copies; raises on anything that is not a batch of n answers.

    Every column is copied before it is looked at, so what passed the checks cannot change afterwards.
    """
    if _checked_classes(given.classes) != classes:
        raise ValueError("other classes than the model states")
    table, column = (n, len(classes)), (n,)
    probabilities = _copied(given.probabilities, np.float64, table)
    codes = _copied(given.codes, np.int16, column)
    # A byte of a bool array may hold more than 0 and 1; copied as bytes, it cannot count twice.
    sets = _copied(given.sets, np.bool_, table).view(np.uint8) != 0
    novelty_p = _copied(given.novelty_p, np.float64, column)
    reason_codes = _copied(given.reason_codes, np.int8, column)
    with np.errstate(all="ignore"):
        broken = ~_valid_rows(probabilities, codes, sets, novelty_p, reason_codes)
    codes[broken], sets[broken], reason_codes[broken] = NO_CODE, False, _MODEL_ERROR
    silent = reason_codes == _MODEL_ERROR
    probabilities[silent], novelty_p[silent] = np.nan, np.nan
    return Answers(classes, probabilities, codes, sets, novelty_p, reason_codes)


def _copied(given: object, dtype: type[np.generic], shape: tuple[int, ...]) -> NDArray[Any]:
    """Copy a plain array of exactly this type and shape; a subclass could lie about itself."""
    if type(given) is not np.ndarray:
        raise ValueError(f"got {type(given).__name__}, expected a plain array")
    if given.dtype != np.dtype(dtype) or given.shape != shape or not given.flags.c_contiguous:
        raise ValueError(f"got {given.dtype} of shape {given.shape}, expected contiguous {dtype} of {shape}")
    return given.copy()


def _valid_rows(
    probabilities: NDArray[np.float64],
    codes: NDArray[np.int16],
    sets: NDArray[np.bool_],
    novelty_p: NDArray[np.float64],
    reason_codes: NDArray[np.int8],
) -> NDArray[np.bool_]:
    """Return which rows are an answer: a label with all that belongs to it, or a reason for none."""
    k = probabilities.shape[1]
    distribution = (probabilities >= 0).all(axis=1) & (abs(probabilities.sum(axis=1) - 1) <= _SUM_TOLERANCE)
    has_code, has_reason = (codes >= 0) & (codes < k), (reason_codes >= 0) & (reason_codes < len(REASONS))
    own_set = (sets == (codes[:, None] == np.arange(k))).all(axis=1)
    labelled = has_code & (reason_codes == NO_CODE) & distribution & own_set
    unlabelled = (codes == NO_CODE) & has_reason & (distribution | np.isnan(probabilities).all(axis=1))
    known_novelty = np.isnan(novelty_p) | ((novelty_p >= 0) & (novelty_p <= 1))
    return np.asarray((labelled | unlabelled) & known_novelty, dtype=np.bool_)

"""Why a seam is not simply accepted, put together for many seams at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.models.answers import NO_CODE, REASONS, Answers
from seamtell.models.limit_rule_batch import LIMIT_REASONS, LimitResults
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.answer_table import LIST_MARK

__all__ = ["NOT_DESCRIBED", "seam_reasons"]

NOT_DESCRIBED = "not_described"
"""Reason of a seam whose indications could not be found; it goes to review."""


def seam_reasons(
    limits: LimitResults,
    conflict: NDArray[np.bool_],
    not_described: NDArray[np.bool_],
    seam: NDArray[np.int32],
    answers: Answers,
    asking: NDArray[np.bool_],
    without_model: Reason | None,
    suspended: NDArray[np.int8] | None = None,
) -> tuple[tuple[str, ...], NDArray[np.int32]]:
    """Return every combination of reasons that occurs, and which of them each seam has.

    A combination names, in this order and nothing twice: what the limit rule says, differing
    traces, indications that could not be found, what asks for a review by label or reason (by
    name), why labels of its line are suspended, and why there is no model.

    Parameters
    ----------
    limits : LimitResults
        Of n seams.
    conflict, not_described : bool arrays of shape (n,)
    seam : int32 array of shape (m,)
        Seam of each indication.
    answers : Answers
        Of the m indications.
    asking : bool array of shape (m,)
        Indications that ask for a review.
    without_model : Reason or None
    suspended : int8 array of shape (n,), optional
        Code of the reason why a seam's labels are suspended, or `NO_CODE`.

    Returns
    -------
    combinations : tuple of str
    index : int32 array of shape (n,)
    """
    named = (*answers.classes, *(reason.value for reason in REASONS))
    of_reason = answers.reason_codes.astype(np.int64) + len(answers.classes)
    bit = np.where(answers.reason_codes == NO_CODE, answers.codes, of_reason)
    asked = np.zeros(len(limits), dtype=np.int64)
    np.bitwise_or.at(asked, seam[asking], np.int64(1) << bit[asking])
    keys = limits.reason_codes.astype(np.int64) + 1
    if suspended is not None:
        keys += (suspended.astype(np.int64) + 1) * (len(LIMIT_REASONS) + 1)
    keys = (keys << 2 | conflict.astype(np.int64) << 1 | not_described) << len(named) | asked
    found, index = np.unique(keys, return_inverse=True)
    combinations = tuple(_spelt(key, named, without_model) for key in found.tolist())
    return combinations, index.astype(np.int32)


def _spelt(key: int, named: tuple[str, ...], without_model: Reason | None) -> str:
    asked, rest = key & ((1 << len(named)) - 1), key >> len(named)
    silence, limit = divmod(rest >> 2, len(LIMIT_REASONS) + 1)
    words = [("", *LIMIT_REASONS)[limit]]
    words += [Reason.CONFLICTING_TRACES.value] if rest & 2 else []
    words += [NOT_DESCRIBED] if rest & 1 else []
    words += sorted(name for i, name in enumerate(named) if asked >> i & 1)
    words += [REASONS[silence - 1].value] if silence else []
    words += [without_model.value] if without_model is not None else []
    return LIST_MARK.join(dict.fromkeys(word for word in words if word))

"""What was decided on a batch of seams, as columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.described_batch import DescribedBatch
from seamtell.models.answers import Answers, reason_code
from seamtell.models.limit_rule_batch import LimitResults
from seamtell.models.reasons import Reason

__all__ = ["DecidedBatch"]


@dataclass(frozen=True, eq=False)
class DecidedBatch:
    """Decisions on n seams, and answers to their m indications, in the order given.

    Parameters
    ----------
    seam_ids : sequence of str, length n
    recipes : tuple of str
    recipe : int32 array of shape (n,)
        Index into `recipes`.
    verdicts : int8 array of shape (n,)
        A `Verdict` each.
    limits : LimitResults
        Of the n seams.
    conflict : bool array of shape (n,)
        Seams with two differing traces.
    not_described : bool array of shape (n,)
        Seams whose indications could not be found; they have none.
    reasons : tuple of str
        Every combination of reasons that occurs, joined by ``+``.
    reason : int32 array of shape (n,)
        Index into `reasons`. The reason is empty for a seam that is accepted with a model at work.
    described : DescribedBatch
    exceeds_limit : bool array of shape (m,)
    height_share : float array of shape (m,)
        Height over the baseline as a share of the limit.
    answers : Answers
        Of the m indications; every flaw is among their classes.
    """

    seam_ids: Sequence[str]
    recipes: tuple[str, ...]
    recipe: NDArray[np.int32]
    verdicts: NDArray[np.int8]
    limits: LimitResults
    conflict: NDArray[np.bool_]
    not_described: NDArray[np.bool_]
    reasons: tuple[str, ...]
    reason: NDArray[np.int32]
    described: DescribedBatch
    exceeds_limit: NDArray[np.bool_]
    height_share: NDArray[np.float64]
    answers: Answers

    def __len__(self) -> int:
        return len(self.verdicts)

    @property
    def timed_out(self) -> bool:
        """Whether an indication has no label because the model ran out of its time."""
        return bool((self.answers.reason_codes == reason_code(Reason.MODEL_TIMEOUT)).any())

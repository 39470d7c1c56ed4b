"""From a batch of seams to their decisions: limit rule, indications, answers, guarded verdict.

The verdict of a seam starts from the limit rule and can only become stricter.
Nothing that goes wrong in describing or answering one seam reaches another seam.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.features.described_batch import DescribedBatch, SeamStatus
from seamtell.features.indications import IndicationSettings
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.answers import NO_CODE, Answers, reason_code, unclassified_answers
from seamtell.models.guarded import asks_for_review, guarded_verdicts, safe_answers
from seamtell.models.limit_rule_batch import apply_limit_rule_to_batch
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.described_safely import describe_safely
from seamtell.pipeline.decisions.height_share import height_shares
from seamtell.pipeline.decisions.seam_reasons import seam_reasons
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.settings import ReviewSettings

__all__ = ["Decider"]

_CLASSES = tuple(flaw.value for flaw in Flaw)
_CONFLICT = reason_code(Reason.CONFLICTING_TRACES)
_MODEL_ERROR, _MODEL_TIMEOUT = reason_code(Reason.MODEL_ERROR), reason_code(Reason.MODEL_TIMEOUT)


class Decider:
    """Decides on batches of seams; one for each run, and for all its threads.

    A model that once ran out of its time is not asked again: it may still be running.

    Parameters
    ----------
    limits : Limits
    settings : IndicationSettings
    review : ReviewSettings
        When an indication below the limit asks for a review.
    trusted : TrustedModel
    conflicts : frozenset of str
        Seams with two differing traces: never better than review, and never labelled.
    budget_s : float
        Time that the model has for one batch.
    trial : bool
        The model is on trial: it labels, and cannot even ask for a review. The verdicts are
        those of a run without any model.
    """

    def __init__(
        self,
        limits: Limits,
        settings: IndicationSettings,
        review: ReviewSettings,
        trusted: TrustedModel,
        conflicts: frozenset[str],
        *,
        budget_s: float = 30.0,
        trial: bool = False,
    ) -> None:
        self.limits = limits
        self.settings = settings
        self.review = review
        self.trusted = trusted
        self.conflicts = conflicts
        self.budget_s = budget_s
        self.trial = trial
        self._hangs = False  # only ever set, so threads need no lock

    def decide(
        self, seam_ids: Sequence[str], batch: TraceBatch, *, suspended: NDArray[np.int8] | None = None
    ) -> DecidedBatch:
        """Decide on one batch.

        Parameters
        ----------
        seam_ids : sequence of str, length n
        batch : TraceBatch
            The traces of the same n seams.
        suspended : int8 array of shape (n,), optional
            Code of the reason why a seam's labels are suspended, or `NO_CODE`. The limit rule
            alone speaks on such a seam.
        """
        if suspended is None:
            suspended = np.full(len(batch), NO_CODE, dtype=np.int8)
        for name, n in (("seam ids", len(seam_ids)), ("marks of suspension", len(suspended))):
            if n != len(batch):
                raise ValueError(f"got {n} {name}, expected one for each of {len(batch)} traces")
        limits = apply_limit_rule_to_batch(batch, self.limits.by_recipe)
        described, raised = describe_safely(batch, self.limits.by_recipe, self.settings)
        conflict = self._in_conflict(seam_ids)
        answers = self._answers(batch, described, conflict, suspended)
        exceeds_limit = np.asarray(described.exceeded.any(axis=1), dtype=np.bool_)
        asking = self._asking(answers, exceeds_limit)
        not_described = raised | ~np.isin(described.status, (SeamStatus.DESCRIBED, SeamStatus.NO_LIMITS))
        asks = conflict | not_described
        asks[described.seam[asking]] = True
        reasons, reason = seam_reasons(
            limits, conflict, not_described, described.seam, answers, asking, self.trusted.reason, suspended
        )
        return DecidedBatch(
            seam_ids=seam_ids,
            recipes=batch.recipes,
            recipe=batch.recipe,
            verdicts=guarded_verdicts(limits, asks),
            limits=limits,
            conflict=conflict,
            not_described=not_described,
            reasons=reasons,
            reason=reason,
            described=described,
            exceeds_limit=exceeds_limit,
            height_share=height_shares(batch, described, self.limits.by_recipe),
            answers=answers,
        )

    def _in_conflict(self, seam_ids: Sequence[str]) -> NDArray[np.bool_]:
        if not self.conflicts:
            return np.zeros(len(seam_ids), dtype=np.bool_)
        return np.fromiter((str(one) in self.conflicts for one in seam_ids), np.bool_, len(seam_ids))

    def _asking(self, answers: Answers, exceeds_limit: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Indications that ask for a review; a model on trial cannot."""
        if self.trial:
            return np.zeros(len(answers), dtype=np.bool_)
        return asks_for_review(answers, exceeds_limit, self.review.labels, self.review.novel)

    def _answers(
        self,
        batch: TraceBatch,
        described: DescribedBatch,
        conflict: NDArray[np.bool_],
        suspended: NDArray[np.int8],
    ) -> Answers:
        """Answers to every indication: asked for in one go, and seam by seam when that fails."""
        why = np.where(conflict, np.int8(_CONFLICT), suspended)[described.seam]
        silenced = why != NO_CODE
        answers = unclassified_answers(len(described), _CLASSES, self.trusted.reason or Reason.MODEL_ERROR)
        answers.reason_codes[silenced] = why[silenced]
        rows = np.flatnonzero(~silenced)
        if self.trusted.model is None or not len(rows):
            return answers
        joint = self._ask(batch, described, rows)
        seams = described.seam[rows]
        if (joint.reason_codes == _MODEL_ERROR).all() and seams[0] != seams[-1]:
            # One seam may have broken the batch: the others must not lose their labels to it.
            for own in np.split(rows, np.flatnonzero(np.diff(seams)) + 1):
                _put(answers, own, self._ask(batch, described, own))
            return answers
        if len(rows) == len(described):
            return joint
        _put(answers, rows, joint)
        return answers

    def _ask(self, batch: TraceBatch, described: DescribedBatch, rows: NDArray[np.int64]) -> Answers:
        if self._hangs:
            return unclassified_answers(len(rows), _CLASSES, Reason.MODEL_TIMEOUT)
        values = described.descriptors[np.ix_(rows, np.array(self.trusted.columns, dtype=np.int64))]
        recipes = np.array(batch.recipes, dtype=object)[batch.recipe[described.seam[rows]]].tolist()
        answers = safe_answers(self.trusted.model, values, recipes, budget_s=self.budget_s)
        if (answers.reason_codes == _MODEL_TIMEOUT).any():
            self._hangs = True
        return answers.among(_CLASSES)


def _put(answers: Answers, rows: NDArray[np.int64], some: Answers) -> None:
    answers.probabilities[rows], answers.sets[rows] = some.probabilities, some.sets
    answers.codes[rows], answers.reason_codes[rows] = some.codes, some.reason_codes
    answers.novelty_p[rows] = some.novelty_p

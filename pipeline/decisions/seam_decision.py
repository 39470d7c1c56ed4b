"""From a batch of seams to their decisions: limit rule, answers, guarded verdict.

The verdict of a seam starts from the limit rule and can only become stricter.
Nothing that goes wrong in describing or answering one seam reaches another seam.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw, Indication, RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors.registry import ALL
from seamtell.features.indications import IndicationSettings
from seamtell.models.answers import Answers, unclassified_answers
from seamtell.models.guarded import asks_for_review, guarded_verdict, safe_answers
from seamtell.models.limit_rule import LimitResult, apply_limit_rule
from seamtell.models.reasons import Reason
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.answer_table import LIST_MARK
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.settings import ReviewSettings

__all__ = ["NOT_DESCRIBED", "Decider", "SeamDecision"]

NOT_DESCRIBED = "not_described"
"""Reason of a seam whose indications could not be found; it goes to review."""

_CLASSES = tuple(flaw.value for flaw in Flaw)


@dataclass(frozen=True, eq=False)
class SeamDecision:
    """What was decided on one seam.

    Parameters
    ----------
    seam_id : str
    verdict : Verdict
    limit : LimitResult
    indications : tuple of Indication, length n
    answers : Answers of length n
    reason : str
        Members joined by ``+``; empty for a seam that is accepted with a model at work.
    """

    seam_id: str
    verdict: Verdict
    limit: LimitResult
    indications: tuple[Indication, ...]
    answers: Answers
    reason: str


@dataclass(frozen=True, eq=False)
class _Described:
    trace: SeamTrace
    limit: LimitResult
    indications: tuple[Indication, ...]
    values: NDArray[np.float64]  # (n_indications, n_descriptors)
    failed: bool


class Decider:
    """Decides on batches of seams; one for each run.

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
        self._hangs = False

    def decide(self, traces: Sequence[SeamTrace]) -> list[SeamDecision]:
        """Decide on one batch, one decision a seam, in the order given."""
        described = [self._describe(trace) for trace in traces]
        answers = self._answers(described)
        return [self._decision(seam, answer) for seam, answer in zip(described, answers, strict=True)]

    def _describe(self, trace: SeamTrace) -> _Described:
        limits: RecipeLimits | None = self.limits.get(trace.recipe)
        limit = apply_limit_rule(trace, limits)
        indications: tuple[Indication, ...] = ()
        values, failed = np.empty((0, len(ALL))), False
        if limits is not None:
            try:
                analysis = analyse_seam(trace, limits, self.settings)
                values, indications = describe_seam(analysis), analysis.indications
            except Exception:  # noqa: BLE001
                # Whatever is wrong with one trace, it must not keep the limit rule's verdict on
                # it, or on any other seam, from being written; the seam goes to review, by name.
                failed = True
        return _Described(trace, limit, indications, values, failed)

    def _answers(self, seams: Sequence[_Described]) -> list[Answers]:
        """Answers of each seam: asked for in one go, and seam by seam when that fails."""
        asked = [i for i, seam in enumerate(seams) if self._labels(seam)]
        answers = [self._silent(seam) for seam in seams]
        if not asked:
            return answers
        joint = self._ask([seams[i] for i in asked])
        first = 0
        for i in asked:
            answers[i] = _rows(joint, first, first + len(seams[i].indications))
            first += len(seams[i].indications)
        if len(asked) > 1 and set(joint.reasons) == {Reason.MODEL_ERROR.value}:
            # One seam may have broken the batch: the others must not lose their labels to it.
            for i in asked:
                answers[i] = self._ask([seams[i]])
        return answers

    def _labels(self, seam: _Described) -> bool:
        return (
            self.trusted.model is not None
            and bool(seam.indications)
            and seam.trace.seam_id not in self.conflicts
        )

    def _silent(self, seam: _Described) -> Answers:
        conflict = seam.trace.seam_id in self.conflicts
        reason = Reason.CONFLICTING_TRACES if conflict else self.trusted.reason or Reason.MODEL_ERROR
        return unclassified_answers(len(seam.indications), _CLASSES, reason)

    def _ask(self, seams: Sequence[_Described]) -> Answers:
        if self._hangs:
            n = sum(len(seam.indications) for seam in seams)
            return unclassified_answers(n, _CLASSES, Reason.MODEL_TIMEOUT)
        values = np.vstack([seam.values for seam in seams])[:, list(self.trusted.columns)]
        recipes = [seam.trace.recipe for seam in seams for _ in seam.indications]
        answers = safe_answers(self.trusted.model, values, recipes, budget_s=self.budget_s)
        self._hangs = Reason.MODEL_TIMEOUT.value in answers.reasons
        return answers

    def _decision(self, seam: _Described, answers: Answers) -> SeamDecision:
        asks = self._review_reasons(seam, answers)
        verdict = guarded_verdict(seam.limit, bool(asks))
        reasons = [seam.limit.reason, *asks]
        if self.trusted.reason is not None:
            reasons.append(self.trusted.reason.value)
        return SeamDecision(
            seam_id=seam.trace.seam_id,
            verdict=verdict,
            limit=seam.limit,
            indications=seam.indications,
            answers=answers,
            reason=LIST_MARK.join(dict.fromkeys(reason for reason in reasons if reason)),
        )

    def _review_reasons(self, seam: _Described, answers: Answers) -> list[str]:
        """Everything that asks for a review of the seam, in a fixed order."""
        asks = []
        if seam.trace.seam_id in self.conflicts:
            asks.append(Reason.CONFLICTING_TRACES.value)
        if seam.failed:
            asks.append(NOT_DESCRIBED)
        if self.trial:
            return asks
        labels: Mapping[str, float] = self.review.labels
        named = set()
        for i, indication in enumerate(seam.indications):
            if asks_for_review(answers, i, indication.exceeds_limit, labels, self.review.novel):
                named.add(answers.reasons[i] or answers.labels[i])
        return [*asks, *sorted(named)]


def _rows(answers: Answers, first: int, last: int) -> Answers:
    return Answers(
        classes=answers.classes,
        probabilities=answers.probabilities[first:last],
        labels=answers.labels[first:last],
        label_sets=answers.label_sets[first:last],
        novelty_p=answers.novelty_p[first:last],
        reasons=answers.reasons[first:last],
    )

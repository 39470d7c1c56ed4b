"""The one sentence that a retraining comes down to."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import Comparison
from seamtell.pipeline.retrain.record import RetrainRecord, SharedSections

__all__ = ["difference_words", "sentence_of"]


def sentence_of(record: RetrainRecord) -> str:
    """What a reader should take away; it recommends nothing."""
    if not record.shared:
        return f"{record.model_id} is a candidate. Not compared: {record.not_compared}."
    held_out = record.shared[0]
    if not held_out.sections:
        return f"{record.model_id} is a candidate. Not compared: {held_out.unknown}."
    all_classes = held_out.classes[0]
    return (
        f"{record.model_id} is a candidate: right on {_value(all_classes.candidate.estimate)} of "
        f"{held_out.sections} sections that neither model trained on, {record.approved_model_id} on "
        f"{_value(all_classes.approved.estimate)}; {difference_words(_right(held_out))}."
    )


def _value(estimate: float | None) -> str:
    return "unknown" if estimate is None else f"{estimate:.2f}"


def _right(shared: SharedSections) -> Comparison:
    return next(one for one in shared.comparisons if one.figure == "right")


def difference_words(one: Comparison) -> str:
    """What the comparison shows, and what it does not."""
    low, high = one.difference.low, one.difference.high
    if low is None or high is None or one.difference.estimate is None:
        return "the difference is unknown"
    told = f"difference {one.difference.estimate:+.2f} [{low:+.2f}, {high:+.2f}]"
    if low > 0:
        return f"better, {told}"
    if high < 0:
        return f"worse, {told}"
    if one.non_inferior:
        return f"not worse than the criteria allow, {told}"
    return f"no difference is shown, {told}, which does not prove them equal"

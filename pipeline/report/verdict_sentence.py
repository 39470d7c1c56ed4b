"""The first sentence of an evaluation: what a person can act on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seamtell.pipeline.report.palette import words

if TYPE_CHECKING:
    from seamtell.pipeline.evaluation.result import CandidateFigures, Estimate, EvaluationResult, ScopeResult

__all__ = ["candidate_words", "verdict_sentence"]

_NAMES = {
    "prior": "prior",
    "hand_rule": "hand rule",
    "logistic": "logistic regression",
    "lightgbm": "LightGBM",
}


def candidate_words(name: str) -> str:
    """Name of a candidate as people read it.

    Examples
    --------
    >>> candidate_words("hand_rule")
    'hand rule'
    """
    return _NAMES.get(name, words(name))


def _percent(estimate: Estimate) -> str:
    if estimate.estimate is None:
        return "unknown"
    text = f"{100 * estimate.estimate:.0f} %"
    if estimate.low is None or estimate.high is None:
        return f"{text} n = {estimate.n}"
    return f"{text} [{100 * estimate.low:.0f}, {100 * estimate.high:.0f}] n = {estimate.n}"


def _hand_rule(scope: ScopeResult) -> CandidateFigures | None:
    return next((c for c in scope.side_by_side if c.name == "hand_rule"), None)


def _advice(result: EvaluationResult) -> str:
    own, hand = result.held_out.macro_f1, _hand_rule(result.held_out)
    if own.estimate is None:
        return (
            f"Do not approve {result.model_id}: {own.unknown or 'its macro-F1 is unknown'}; cut more sections"
        )
    if result.candidate == "hand_rule":
        return f"{result.model_id} is the hand rule itself: no candidate was shown to be better"
    if hand is None or hand.macro_f1.high is None or hand.macro_f1.low is None or own.low is None:
        return f"Weigh {result.model_id} with care: it cannot be compared with the hand rule"
    if own.low > hand.macro_f1.high:
        return f"Hold {result.model_id} against your criteria: it names flaws better than the hand rule"
    if own.high is not None and own.high < hand.macro_f1.low:
        return f"Do not approve {result.model_id}: the hand rule names flaws better"
    return f"Cut more sections before approving {result.model_id}: it is not shown to beat the hand rule"


def _missed(estimate: Estimate) -> str:
    if estimate.estimate is None:
        because = f" ({estimate.unknown})" if estimate.unknown else ""
        return f"how many flaws have no indication is unknown{because}"
    return f"{_percent(estimate)} of the flaws found by sectioning had no indication"


def verdict_sentence(result: EvaluationResult) -> str:
    """One sentence on the held-out sections, built from the figures alone."""
    scope = result.held_out
    hand = _hand_rule(scope)
    beside = f" (hand rule {hand.macro_f1})" if hand is not None and result.candidate != "hand_rule" else ""
    return (
        f"{_advice(result)}; {candidate_words(result.candidate)} reaches macro-F1 {scope.macro_f1}{beside}, "
        f"leaves {_percent(scope.abstention)} of the indicated sections unclassified; "
        f"{_missed(scope.missed)}."
    )

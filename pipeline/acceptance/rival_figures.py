"""The model against the limit rule and against the approved model, on the same sections."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.comparison import (
    Against,
    PairedAnswers,
    compare_detected,
    compare_expected_cost,
    compare_macro_f1,
    compare_right,
    limit_rule_answers,
)
from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence, ApprovedAnswers
from seamtell.pipeline.acceptance.record import Comparison, Rival
from seamtell.pipeline.evaluation.answered import JUDGED
from seamtell.pipeline.evaluation.result import MISSED

__all__ = ["comparisons", "says_flaw"]


def says_flaw(answers: NDArray[np.str_]) -> NDArray[np.bool_]:
    """Whether somebody would look there: a flaw is named, or an indication has no label; shape (n,)."""
    return ~np.isin(answers, [MISSED, Flaw.SOUND.value])


def comparisons(evidence: AcceptanceEvidence) -> tuple[Comparison, ...]:
    """Every comparison that the evidence carries, the limit rule first."""
    rivals = list(_with_limit_rule(evidence))
    if evidence.approved is not None:
        rivals += _with_approved(evidence, evidence.approved)
    return tuple(rivals)


def _with_limit_rule(evidence: AcceptanceEvidence) -> Iterator[Comparison]:
    """Detection of the judged flaws, and what the answers to all judged sections cost."""
    frame = evidence.held_out.frame
    judged = frame[frame["outcome"].isin(JUDGED)]
    truths, answers = judged["truth"].to_numpy(str), judged["answer"].to_numpy(str)
    groups, exceeded = judged["group"].to_numpy(str), judged["limit_exceeded"].to_numpy(bool)
    flaw = truths != Flaw.SOUND.value
    against = Against(Rival.LIMIT_RULE)
    if flaw.any():
        yield compare_detected(says_flaw(answers)[flaw], exceeded[flaw], groups[flaw], against, evidence.plan)
    if evidence.costs is not None and len(judged):
        pairs = PairedAnswers(truths, answers, limit_rule_answers(exceeded), groups)
        yield compare_expected_cost(pairs, evidence.costs, against, evidence.plan)


def _with_approved(evidence: AcceptanceEvidence, approved: ApprovedAnswers) -> Iterator[Comparison]:
    """Answers as given, and forced labels for macro-F1, on the sections that neither model trained on."""
    given, forced = _pairs(evidence, approved)
    against = Against(Rival.APPROVED, approved.model_id, evidence.margins)
    if len(given.truths) == 0:
        return
    yield compare_right(given, against, evidence.plan)
    yield compare_macro_f1(forced, against, evidence.plan)
    if evidence.costs is not None:
        yield compare_expected_cost(given, evidence.costs, against, evidence.plan)


def _pairs(evidence: AcceptanceEvidence, approved: ApprovedAnswers) -> tuple[PairedAnswers, PairedAnswers]:
    own, other = evidence.held_out, approved.sections
    mine = _answers(own.frame, own.forced_labels(evidence.forced), own.scored)
    theirs = _answers(other.frame, other.forced_labels(approved.forced), other.scored)
    both = mine.merge(theirs, on="section_id", suffixes=("", "_rival"), validate="one_to_one")
    both = both.sort_values("section_id", kind="stable")
    truths, groups = both["truth"].to_numpy(str), both["group"].to_numpy(str)

    def pair(name: str) -> PairedAnswers:
        return PairedAnswers(truths, both[name].to_numpy(str), both[f"{name}_rival"].to_numpy(str), groups)

    return pair("answer"), pair("forced")


def _answers(frame: pd.DataFrame, forced: NDArray[np.str_], scored: NDArray[np.bool_]) -> pd.DataFrame:
    columns = ["section_id", "truth", "group", "answer"]
    return frame[columns].assign(forced=forced)[scored]

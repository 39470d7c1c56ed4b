"""The candidate and the approved model on the same sections, class by class."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.comparison import (
    Against,
    PairedAnswers,
    compare_macro_f1,
    compare_right,
    exact_mcnemar,
    is_right,
)
from seamtell.pipeline.acceptance.record import Rival
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.retrain.record import ClassChange, SharedSections

__all__ = ["ALL", "HELD_OUT", "NEWEST", "answers_table", "compare_on", "pair_answers"]

ALL = "all"
HELD_OUT = "held_out"
NEWEST = "newest"


def answers_table(sections: AnsweredSections, forced: NDArray[np.float64]) -> pd.DataFrame:
    """Scored sections with the answer that was given and the one that a label by force would be.

    Parameters
    ----------
    sections : AnsweredSections
    forced : array of shape (n, k)
        Calibrated probabilities of the chosen candidate.
    """
    labels = sections.forced_labels(forced)
    columns = ["section_id", "truth", "group", "answer"]
    return sections.frame[columns].assign(forced=labels)[sections.scored]


def pair_answers(candidate: pd.DataFrame, approved: pd.DataFrame) -> pd.DataFrame:
    """Sections that both answered, by section id; the approved model's columns end in ``_rival``."""
    both = candidate.merge(approved, on="section_id", suffixes=("", "_rival"), validate="one_to_one")
    return both.sort_values("section_id", kind="stable").reset_index(drop=True)


def compare_on(
    name: str,
    both: pd.DataFrame,
    among: Collection[str] | None,
    *,
    approved_model_id: str,
    margins: Mapping[str, float],
    plan: Plan,
) -> SharedSections:
    """Compare on all paired sections, or on those `among` a few.

    Parameters
    ----------
    name : str
        `HELD_OUT` or `NEWEST`.
    both : DataFrame
        As `pair_answers` returns it.
    among : collection of str, optional
        Section ids; default: all.
    approved_model_id : str
    margins : mapping of str to float
        Greatest loss allowed, by figure.
    plan : Plan
        Of the bootstrap.
    """
    rows = both if among is None else both[both["section_id"].isin(list(among))]
    if rows.empty:
        why = "no section that neither model trained on" + ("" if among is None else " is new")
        return SharedSections(name=name, sections=0, unknown=why, classes=(), comparisons=())
    truths, groups = rows["truth"].to_numpy(str), rows["group"].to_numpy(str)

    def pairs(column: str) -> PairedAnswers:
        own, other = (rows[name].to_numpy(str) for name in (column, f"{column}_rival"))
        return PairedAnswers(truths, own, other, groups)

    against = Against(Rival.APPROVED, approved_model_id, margins)
    return SharedSections(
        name=name,
        sections=len(rows),
        unknown="",
        classes=_by_class(pairs("answer")),
        comparisons=(
            compare_right(pairs("answer"), against, plan),
            compare_macro_f1(pairs("forced"), against, plan),
        ),
    )


def _by_class(pairs: PairedAnswers) -> tuple[ClassChange, ...]:
    own, other = is_right(pairs.truths, pairs.model), is_right(pairs.truths, pairs.rival)
    changes = []
    for label in (ALL, *(flaw.value for flaw in Flaw)):
        here = np.full(len(own), True) if label == ALL else pairs.truths == label
        n = int(here.sum())
        gained, lost = int((own & ~other & here).sum()), int((other & ~own & here).sum())
        changes.append(
            ClassChange(
                label=label,
                candidate=share(int((own & here).sum()), n, unknown_because="no such section"),
                approved=share(int((other & here).sum()), n, unknown_because="no such section"),
                only_candidate=gained,
                only_approved=lost,
                p_exact=exact_mcnemar(gained, lost) if n else None,
            )
        )
    return tuple(changes)

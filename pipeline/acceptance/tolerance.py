"""How far the figures hang on the tolerance with which sections meet indications.

A section lies at a position known to some millimetres, and an extra tolerance is added
when it is matched. Nobody knows the right one exactly; so everything is matched and
counted again with others. A figure that moves much with the tolerance says as much of
the matching as of the model. The answers do not change: each indication keeps its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.models.answers import Answers
from seamtell.pipeline.acceptance.record import ToleranceCurve, ToleranceFigure
from seamtell.pipeline.evaluation.answered import AnsweredSections, answer_sections, answerable
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.confusion import confusion_matrix, missed_share
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.evaluation.matching import match_sections
from seamtell.pipeline.evaluation.result import MATRIX_ROWS, Estimate, Outcome, Scope
from seamtell.pipeline.evaluation.side_by_side import forced_agreement

__all__ = ["TOLERANCES_MM", "AnsweredIndications", "headline_figures", "tolerance_curve", "tolerance_curves"]

TOLERANCES_MM: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)


@dataclass(frozen=True, eq=False)
class AnsweredIndications:
    """Every indication of the sectioned seams with its answer.

    Parameters
    ----------
    indications : DataFrame
        ``seam_id, indication, start_mm, end_mm, peak_mm, exceeds_limit``.
    answers : Answers
        Row i answers row i of `indications`.
    forced : array of shape (n, k), optional
        Calibrated probabilities of the chosen candidate, also where the model in use
        says nothing; default: those of the answers.
    """

    indications: pd.DataFrame
    answers: Answers
    forced: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        if len(self.indications) != len(self.answers):
            raise ValueError(f"got {len(self.answers)} answers for {len(self.indications)} indications")
        if self.forced is not None and self.forced.shape != self.answers.probabilities.shape:
            raise ValueError(
                f"got forced probabilities of shape {self.forced.shape}, "
                f"expected {self.answers.probabilities.shape}"
            )


def tolerance_curve(
    name: str,
    in_use_mm: float,
    figure_at: Callable[[float], Estimate],
    tolerances_mm: Sequence[float] = TOLERANCES_MM,
) -> ToleranceCurve:
    """One figure at each tolerance, the one in use among them.

    Parameters
    ----------
    name : str
        Of the figure.
    in_use_mm : float
        Extra tolerance of the settings.
    figure_at : callable
        Gives the figure at an extra tolerance in mm.
    tolerances_mm : sequence of float
    """
    return ToleranceCurve(
        name=name,
        in_use_mm=in_use_mm,
        figures=tuple(
            ToleranceFigure(extra_tolerance_mm=extra, figure=figure_at(extra))
            for extra in sorted({*tolerances_mm, in_use_mm})
        ),
    )


def headline_figures(
    sections: AnsweredSections, forced: NDArray[np.float64], plan: Plan
) -> dict[str, Estimate]:
    """The figures that the curves show, by name.

    ``macro_f1`` (forced label), ``missed`` (flaws without an indication, as cut),
    ``matched`` (sections that meet an indication), ``abstained``, and ``recall <flaw>``
    of every class among all its sections (of sound seam among the indicated).
    """
    frame = sections.frame
    matrix = confusion_matrix(frame)
    met = int(np.count_nonzero(sections.indicated))
    figures = {
        "macro_f1": forced_agreement(sections, forced, plan).macro_f1,
        "missed": missed_share(matrix, level=plan.level),
        "matched": share(met, sum(map(sum, matrix.counts)), level=plan.level, unknown_because="no section"),
        "abstained": share(
            int((frame["outcome"] == Outcome.ABSTAINED).sum()),
            met,
            level=plan.level,
            unknown_because="no indicated section",
        ),
    }
    rows = frame[sections.scored]
    for label in MATRIX_ROWS:
        of_class = rows[rows["truth"] == label]
        right = int((of_class["outcome"] == Outcome.RIGHT).sum())
        figures[f"recall {label}"] = share(
            right, len(of_class), level=plan.level, unknown_because="no section"
        )
    return figures


def tolerance_curves(
    sections: pd.DataFrame,
    answered: AnsweredIndications,
    seams: pd.DataFrame,
    *,
    in_use_mm: float,
    plan: Plan,
    left_out: Mapping[str, str] | None = None,
    tolerances_mm: Sequence[float] = TOLERANCES_MM,
    scope: Scope = Scope.HELD_OUT,
) -> tuple[ToleranceCurve, ...]:
    """Every headline figure over the extra tolerance.

    Parameters
    ----------
    sections : DataFrame
        Section table, the sections of the scope only. All sections of a seam belong to
        the same scope, so the matching sees none too few.
    answered : AnsweredIndications
        All indications of their seams: another tolerance meets other ones.
    seams : DataFrame
        ``seam_id, welded_at, coil, recipe``.
    in_use_mm : float
        Extra tolerance of the settings.
    plan : Plan
        Resampling of groups.
    left_out : mapping of str to str, optional
        Section id to why the section cannot be judged.
    """
    figures: dict[float, Mapping[str, Estimate]] = {}
    for extra in sorted({*tolerances_mm, in_use_mm}):
        there = _answered_sections(sections, answered, seams, extra, left_out or {}, scope)
        figures[extra] = headline_figures(there, there.candidates["forced"], plan)

    def of(name: str) -> ToleranceCurve:
        return tolerance_curve(name, in_use_mm, lambda extra: figures[extra][name], tolerances_mm)

    return tuple(of(name) for name in figures[in_use_mm])


def _answered_sections(
    sections: pd.DataFrame,
    answered: AnsweredIndications,
    seams: pd.DataFrame,
    extra_mm: float,
    left_out: Mapping[str, str],
    scope: Scope,
) -> AnsweredSections:
    matched = match_sections(sections, answered.indications, extra_mm, seams=seams)
    at = _keys(answered.indications).get_indexer(_keys(matched))
    met = at >= 0
    facts = {
        name: np.where(met, answered.indications[name].to_numpy(float)[at], np.nan)
        if len(answered.indications)
        else np.full(len(matched), np.nan)
        for name in ("start_mm", "end_mm")
    }
    matched = matched.assign(
        **facts, left_out=[left_out.get(section, "") for section in matched["section_id"]]
    )
    rows = at[answerable(matched)]
    answers = answered.answers.take(rows)
    forced = answered.answers.probabilities if answered.forced is None else answered.forced
    # What the limit rule says hangs on the raw trace and is no figure of these curves.
    nowhere = np.zeros(len(matched), dtype=bool)
    return answer_sections(scope, matched, answers, {"forced": forced[rows]}, nowhere)


def _keys(rows: pd.DataFrame) -> pd.MultiIndex:
    numbers = rows["indication"].fillna(-1).astype("int64")
    return pd.MultiIndex.from_arrays([rows["seam_id"].astype(str), numbers])

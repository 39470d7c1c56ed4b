"""The confusion matrix of sections, and what is read from its rows and columns."""

from __future__ import annotations

import numpy as np
import pandas as pd

from seamtell.features.contracts import UNCLASSIFIED, Flaw, Purpose
from seamtell.pipeline.evaluation.answered import JUDGED
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share, unknown
from seamtell.pipeline.evaluation.result import (
    MATRIX_COLUMNS,
    MATRIX_ROWS,
    MISSED,
    AbstentionCount,
    ClassFigures,
    ConfusionMatrix,
    Estimate,
    Outcome,
    PurposeFigures,
)

__all__ = [
    "NOTHING_UNFLAGGED",
    "abstentions",
    "by_purpose",
    "class_figures",
    "confusion_matrix",
    "missed_share",
]

NOTHING_UNFLAGGED = "nothing unflagged was cut"


def confusion_matrix(frame: pd.DataFrame) -> ConfusionMatrix:
    """Count the judged sections: truth in rows, answer in columns.

    Parameters
    ----------
    frame : DataFrame
        With ``truth``, ``answer``, ``outcome``.
    """
    judged = frame[frame["outcome"].isin(JUDGED)]
    counts = np.zeros((len(MATRIX_ROWS), len(MATRIX_COLUMNS)), dtype=np.int64)
    for truth, answer in zip(judged["truth"], judged["answer"], strict=True):
        counts[MATRIX_ROWS.index(truth), MATRIX_COLUMNS.index(answer)] += 1
    return ConfusionMatrix(counts=tuple(tuple(int(cell) for cell in row) for row in counts))


def _unflagged(matrix: ConfusionMatrix) -> int:
    return sum(matrix.count(truth, MISSED) for truth in matrix.rows)


def missed_share(matrix: ConfusionMatrix, label: str | None = None, level: float = DEFAULT_LEVEL) -> Estimate:
    """Share of flaws (of one class, or of all) without an indication of their own.

    Unknown, not zero, where no section at all was cut at an unflagged place: then
    nothing could have been found missing.
    """
    if _unflagged(matrix) == 0:
        return unknown(NOTHING_UNFLAGGED, level=level)
    flaws = [row for row in matrix.rows if row != Flaw.SOUND] if label is None else [label]
    found = sum(sum(matrix.counts[matrix.rows.index(row)]) for row in flaws)
    missed = sum(matrix.count(row, MISSED) for row in flaws)
    return share(missed, found, level=level, unknown_because="no section found this flaw")


def class_figures(matrix: ConfusionMatrix, level: float = DEFAULT_LEVEL) -> tuple[ClassFigures, ...]:
    """Recall, precision, missed and abstained share of every class, each with its exact interval.

    Sections are taken as independent of each other here; the intervals of macro-F1
    and kappa resample whole coils.
    """
    figures = []
    for label in matrix.rows:
        row = matrix.counts[matrix.rows.index(label)]
        column = matrix.columns.index(label)
        right, sections = row[column], sum(row)
        abstained, missed = matrix.count(label, UNCLASSIFIED), matrix.count(label, MISSED)
        indicated = sections - missed
        is_sound = label == Flaw.SOUND
        called = sum(counts[column] for counts in matrix.counts)
        figures.append(
            ClassFigures(
                label=label,
                sections=sections,
                indicated=indicated,
                recall=share(
                    right, indicated if is_sound else sections, level=level, unknown_because="no section"
                ),
                recall_answered=share(
                    right, indicated - abstained, level=level, unknown_because="no labelled section"
                ),
                precision=share(right, called, level=level, unknown_because="no section labelled so"),
                missed=unknown("not defined for sound seam", level=level)
                if is_sound
                else missed_share(matrix, label, level),
                abstained=share(abstained, indicated, level=level, unknown_because="no indicated section"),
            )
        )
    return tuple(figures)


def abstentions(frame: pd.DataFrame) -> tuple[AbstentionCount, ...]:
    """Abstained sections by reason, the most frequent first."""
    reasons = frame.loc[frame["outcome"] == Outcome.ABSTAINED, "reason"]
    counts = sorted(reasons.value_counts().items(), key=lambda item: (-item[1], str(item[0])))
    return tuple(AbstentionCount(reason=str(reason), count=int(count)) for reason, count in counts)


def _purpose_figures(purpose: str, rows: pd.DataFrame, level: float) -> PurposeFigures:
    flaws = rows["truth"] != Flaw.SOUND
    without = rows["answer"] == MISSED
    missed = int((flaws & without).sum())
    indicated = rows[~without]
    return PurposeFigures(
        purpose=purpose,
        sections=len(rows),
        flaws=int(flaws.sum()),
        unflagged=int(without.sum()),
        missed=share(missed, int(flaws.sum()), level=level, unknown_because="no flaw found")
        if without.any()
        else unknown(NOTHING_UNFLAGGED, level=level),
        right=share(
            int((indicated["outcome"] == Outcome.RIGHT).sum()),
            len(indicated),
            level=level,
            unknown_because="no indicated section",
        ),
    )


def by_purpose(frame: pd.DataFrame, level: float = DEFAULT_LEVEL) -> tuple[PurposeFigures, ...]:
    """The judged sections apart by why they were cut.

    Targeted cuts are chosen where something was indicated, so they can hardly find a
    missed flaw; only random and planned cuts at unflagged places can.
    """
    judged = frame[frame["outcome"].isin(JUDGED)]
    return tuple(
        _purpose_figures(purpose.value, judged[judged["purpose"] == purpose.value], level)
        for purpose in Purpose
        if (judged["purpose"] == purpose.value).any()
    )

"""Every candidate and the limit rule on the same sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.evaluation.agreement import (
    Agreement,
    log_loss_rows,
    score_agreement,
    score_log_loss,
)
from seamtell.pipeline.evaluation.answered import JUDGED, AnsweredSections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share
from seamtell.pipeline.evaluation.result import (
    MATRIX_ROWS,
    CandidateFigures,
    ClassDetection,
    Estimate,
    LimitRuleFigures,
)

__all__ = ["candidate_figures", "forced_agreement", "indicated_log_loss", "limit_rule_figures"]


def forced_agreement(sections: AnsweredSections, probabilities: NDArray[np.float64], plan: Plan) -> Agreement:
    """Macro-F1 and kappa of the forced labels: argmax, no abstention.

    Rows are all judged flaws and the sound sections with an indication. A missed
    flaw counts as wrong, so that nobody gains by not indicating.
    """
    rows = sections.scored
    frame = sections.frame[rows]
    return score_agreement(
        frame["truth"].to_numpy(str),
        sections.forced_labels(probabilities)[rows],
        frame["group"].to_numpy(str),
        MATRIX_ROWS,
        plan,
    )


def indicated_log_loss(
    sections: AnsweredSections, probabilities: NDArray[np.float64], plan: Plan
) -> Estimate:
    """Log loss over the indicated sections whose class the model knows."""
    rows = sections.indicated & np.isfinite(probabilities).all(axis=1)
    frame = sections.frame[rows]
    losses = log_loss_rows(frame["truth"].to_numpy(str), probabilities[rows], sections.classes)
    return score_log_loss(losses, frame["group"].to_numpy(str), plan)


def candidate_figures(sections: AnsweredSections, chosen: str, plan: Plan) -> tuple[CandidateFigures, ...]:
    """Forced-label figures of every candidate, in the order given."""
    result = []
    for name, probabilities in sections.candidates.items():
        agreement = forced_agreement(sections, probabilities, plan)
        result.append(
            CandidateFigures(
                name=name,
                chosen=name == chosen,
                macro_f1=agreement.macro_f1,
                kappa=agreement.kappa,
                log_loss=indicated_log_loss(sections, probabilities, plan),
            )
        )
    return tuple(result)


def limit_rule_figures(sections: AnsweredSections, level: float = DEFAULT_LEVEL) -> LimitRuleFigures:
    """What the limit rule alone does on the judged sections: it detects, it never names."""
    judged = sections.frame[sections.frame["outcome"].isin(JUDGED)]
    exceeded = judged["limit_exceeded"].to_numpy(bool)
    truths = judged["truth"].to_numpy(str)

    def detected(rows: NDArray[np.bool_]) -> Estimate:
        return share(int(exceeded[rows].sum()), int(rows.sum()), level=level, unknown_because="no section")

    flaw = truths != Flaw.SOUND.value
    return LimitRuleFigures(
        detections=detected(flaw),
        false_calls=detected(~flaw),
        by_class=tuple(
            ClassDetection(label=label, detected=detected(truths == label))
            for label in MATRIX_ROWS
            if label != Flaw.SOUND
        ),
        unlabelled=int(exceeded.sum()),
    )

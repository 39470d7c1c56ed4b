"""All figures of one set of answered sections."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd

from seamtell.pipeline.evaluation.agreement import score_agreement
from seamtell.pipeline.evaluation.answered import JUDGED, AnsweredSections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.confusion import (
    abstentions,
    by_purpose,
    class_figures,
    confusion_matrix,
    missed_share,
)
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.evaluation.reliability import reliability_bins, set_coverage
from seamtell.pipeline.evaluation.result import MATRIX_ROWS, Estimate, Outcome, Scope, ScopeResult
from seamtell.pipeline.evaluation.side_by_side import (
    candidate_figures,
    forced_agreement,
    indicated_log_loss,
    limit_rule_figures,
)

__all__ = ["score_scope"]


def _macro_f1_as_answered(sections: AnsweredSections, plan: Plan) -> Estimate:
    frame = sections.frame[sections.scored]
    return score_agreement(
        frame["truth"].to_numpy(str),
        frame["answer"].to_numpy(str),
        frame["group"].to_numpy(str),
        MATRIX_ROWS,
        plan,
    ).macro_f1


def _moment(times: pd.Series, *, latest: bool) -> datetime | None:
    known = times.dropna()
    if known.empty:
        return None
    moment = pd.Timestamp(known.max() if latest else known.min())
    return moment.to_pydatetime()


def score_scope(
    scope: Scope, sections: AnsweredSections, *, chosen: str, error_rate: float, plan: Plan
) -> ScopeResult:
    """Count and score everything on `sections`.

    Parameters
    ----------
    scope : Scope
    sections : AnsweredSections
    chosen : str
        Candidate that the model answers with.
    error_rate : float
        What the conformal sets were made for.
    plan : Plan
        Resampling of groups.
    """
    frame = sections.frame
    # The chosen candidate also where the model in use says nothing: forced figures compare candidates.
    forced = sections.candidates[chosen]
    outcomes = frame["outcome"]
    matrix = confusion_matrix(frame)
    agreement = forced_agreement(sections, forced, plan)
    indicated = int(np.count_nonzero(sections.indicated))
    return ScopeResult(
        scope=scope,
        sections=len(frame),
        judged=int(outcomes.isin(JUDGED).sum()),
        shared=int((outcomes == Outcome.SHARED).sum()),
        left_out=int((outcomes == Outcome.LEFT_OUT).sum()),
        groups=int(frame["group"].nunique()),
        first_welded_at=_moment(frame["welded_at"], latest=False),
        last_welded_at=_moment(frame["welded_at"], latest=True),
        matrix=matrix,
        per_class=class_figures(matrix, plan.level),
        macro_f1=agreement.macro_f1,
        macro_f1_with_abstention=_macro_f1_as_answered(sections, plan),
        kappa=agreement.kappa,
        log_loss=indicated_log_loss(sections, forced, plan),
        reliability=reliability_bins(sections, level=plan.level),
        set_coverage=set_coverage(sections, error_rate, plan.level),
        abstention=share(
            int((outcomes == Outcome.ABSTAINED).sum()),
            indicated,
            level=plan.level,
            unknown_because="no indicated section",
        ),
        abstentions=abstentions(frame),
        missed=missed_share(matrix, level=plan.level),
        quiet=int((outcomes == Outcome.QUIET).sum()),
        by_purpose=by_purpose(frame, plan.level),
        limit_rule=limit_rule_figures(sections, plan.level),
        side_by_side=candidate_figures(sections, chosen, plan),
    )

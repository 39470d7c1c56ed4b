"""What the classifier's requests for review cost, and what they catch.

Only seams that the limit rule accepts count: the others are rejected anyway. How
often a review is asked for needs no section; whether it was needless does.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from seamtell.features.contracts import Flaw
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.evaluation.answered import JUDGED
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share, unknown
from seamtell.pipeline.evaluation.result import Estimate, ReviewCost
from seamtell.pipeline.settings import ReviewSettings

__all__ = ["accepted_seams", "review_cost"]


def accepted_seams(decided: Iterable[DecidedBatch]) -> dict[str, bool]:
    """Seams that the limit rule accepts, each with whether a review is asked for."""
    return {
        batch.seam_ids[i]: bool(batch.verdicts[i] == Verdict.REVIEW)
        for batch in decided
        for i in np.flatnonzero(batch.limits.verdicts == Verdict.ACCEPT).tolist()
    }


def _per_1000(asked: Estimate, needless: Estimate, accepted: Estimate, level: float) -> Estimate:
    factors = (accepted, asked, needless)
    method = "product of three shares; bounds multiplied, so wider than stated"
    n = min(figure.n for figure in factors)
    if any(figure.estimate is None for figure in factors):
        return unknown("no reviewed seam was sectioned", n=n, level=level)
    estimate = low = high = 1000.0
    for figure in factors:
        estimate *= figure.estimate or 0.0
        low *= figure.low or 0.0
        high *= figure.high or 0.0
    return Estimate(n=n, estimate=estimate, low=low, high=high, level=level, method=method)


def review_cost(
    sample: dict[str, bool],
    sample_size: int,
    sectioned: dict[str, bool],
    frame: pd.DataFrame,
    settings: ReviewSettings,
    level: float = DEFAULT_LEVEL,
) -> ReviewCost:
    """Cost and catch of the requests for review.

    Parameters
    ----------
    sample : dict of str to bool
        Accepted seams of a sample of the held-out period: whether a review is asked.
    sample_size : int
        All seams of that sample, accepted or not.
    sectioned : dict of str to bool
        The same for the accepted seams that have held-out sections.
    frame : DataFrame
        Held-out sections with their outcomes.
    settings : ReviewSettings
    """
    judged = frame[frame["outcome"].isin(JUDGED) & frame["seam_id"].isin(list(sectioned))]
    has_flaw = (judged["truth"] != Flaw.SOUND).groupby(judged["seam_id"]).any()
    asked_for = [seam for seam in has_flaw.index if sectioned[seam]]
    wanted = judged[judged["truth"].isin(list(settings.labels))]
    asked = share(sum(sample.values()), len(sample), level=level, unknown_because="no accepted seam")
    needless = share(
        sum(not has_flaw[seam] for seam in asked_for),
        len(asked_for),
        level=level,
        unknown_because="no reviewed seam was sectioned",
    )
    accepted = share(len(sample), sample_size, level=level, unknown_because="no seam in the period")
    return ReviewCost(
        labels=dict(settings.labels),
        novel=settings.novel,
        asked=asked,
        needless=needless,
        needless_per_1000=_per_1000(asked, needless, accepted, level),
        caught=share(
            int(wanted["seam_id"].map(sectioned).astype(bool).sum()),
            len(wanted),
            level=level,
            unknown_because="no such flaw was found below the limit",
        ),
    )

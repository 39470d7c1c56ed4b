"""Strata, simultaneous bounds, costs and the weighted kappa of the held-out sections."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.costs import candidate_costs
from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence
from seamtell.pipeline.acceptance.record import ClassBound, CostFigures
from seamtell.pipeline.acceptance.simultaneous import class_bounds
from seamtell.pipeline.acceptance.strata import StrataRows, StratumKind
from seamtell.pipeline.acceptance.stratum_values import periods, speed_bins, thickness_pairs
from seamtell.pipeline.acceptance.weighted_kappa import cost_weighted_kappa
from seamtell.pipeline.evaluation.intervals import unknown
from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["cost_figures", "strata_rows", "together", "weighted_agreement"]

_NO_COSTS = "the criteria have no [costs]"


def strata_rows(evidence: AcceptanceEvidence) -> StrataRows:
    """The held-out sections with their strata, from the metadata of their seams."""
    frame = evidence.held_out.frame
    seams = evidence.seams.drop_duplicates("seam_id").set_index("seam_id").reindex(frame["seam_id"])

    def number(name: str) -> NDArray[np.float64]:
        return pd.to_numeric(seams[name]).to_numpy(float)

    return StrataRows(
        truths=frame["truth"].to_numpy(str),
        outcomes=frame["outcome"].to_numpy(str),
        groups=frame["group"].to_numpy(str),
        by={
            StratumKind.RECIPE: frame["recipe"].to_numpy(str),
            StratumKind.LINE: seams["line"].fillna("").to_numpy(str),
            StratumKind.THICKNESS_PAIR: thickness_pairs(number("thickness_a_mm"), number("thickness_b_mm")),
            StratumKind.SPEED: speed_bins(number("speed_m_per_min")),
            StratumKind.PERIOD: periods(frame["welded_at"]),
        },
    )


def together(evidence: AcceptanceEvidence) -> tuple[ClassBound, ...]:
    """Recall of every class, as in the evaluation, with intervals that hold for all at once."""
    recalls = {one.label: one.recall for one in evidence.result.held_out.per_class}
    counts = {label: (recall.count or 0, recall.n) for label, recall in recalls.items()}
    return class_bounds(counts, evidence.plan.level)


def cost_figures(evidence: AcceptanceEvidence) -> tuple[CostFigures, ...]:
    """What each candidate costs on the indicated sections; empty without a cost table."""
    if evidence.costs is None:
        return ()
    sections = evidence.held_out
    rows = sections.indicated
    frame = sections.frame[rows]
    return candidate_costs(
        evidence.costs,
        frame["truth"].to_numpy(str),
        {name: values[rows] for name, values in sections.candidates.items()},
        sections.classes,
        frame["group"].to_numpy(str),
        chosen=evidence.result.candidate,
        plan=evidence.plan,
    )


def weighted_agreement(evidence: AcceptanceEvidence) -> Estimate:
    """Kappa of truth and forced label, each confusion weighing what it costs."""
    if evidence.costs is None:
        return unknown(_NO_COSTS)
    sections = evidence.held_out
    rows = sections.scored
    frame = sections.frame[rows]
    if frame.empty:
        return unknown("no case")
    return cost_weighted_kappa(
        frame["truth"].to_numpy(str),
        sections.forced_labels(evidence.forced)[rows],
        frame["group"].to_numpy(str),
        evidence.costs,
        evidence.plan,
    )

"""From the evidence of an evaluation to its acceptance record."""

from __future__ import annotations

import numpy as np

from seamtell.features.contracts import Purpose
from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence
from seamtell.pipeline.acceptance.examiners import agreement_figures
from seamtell.pipeline.acceptance.label_errors import label_error_figures
from seamtell.pipeline.acceptance.production_counts import cuts_of, place_length_mm, production_of
from seamtell.pipeline.acceptance.record import AcceptanceRecord, MissRate, ToleranceCurve
from seamtell.pipeline.acceptance.rival_figures import comparisons
from seamtell.pipeline.acceptance.selection import miss_rates
from seamtell.pipeline.acceptance.sized_flaws import detection_rows, detections
from seamtell.pipeline.acceptance.slices import cost_figures, strata_rows, together, weighted_agreement
from seamtell.pipeline.acceptance.strata import strata_figures, stratum_tests
from seamtell.pipeline.acceptance.suspicions import suspicions
from seamtell.pipeline.acceptance.tolerance import tolerance_curves
from seamtell.pipeline.evaluation.result import Outcome, Scope

__all__ = ["make_record"]


def make_record(evidence: AcceptanceEvidence) -> AcceptanceRecord:
    """All acceptance figures; the same evidence gives the same record."""
    result = evidence.result
    frame = evidence.frame
    strata = strata_rows(evidence)
    return AcceptanceRecord(
        model_id=result.model_id,
        model_digest=result.model_digest,
        evaluation_digest=evidence.evaluation_digest,
        scope=Scope.HELD_OUT,
        detection=detections(detection_rows(frame, evidence.indications, evidence.sections)),
        miss_rates=_miss_rates(evidence),
        tolerance=_tolerance(evidence),
        agreement=None if evidence.readings is None else agreement_figures(evidence.readings, evidence.plan),
        label_errors=label_error_figures(result.held_out.matrix),
        comparisons=comparisons(evidence),
        strata=strata_figures(strata, level=evidence.plan.level),
        stratum_tests=stratum_tests(strata, seed=evidence.plan.seed),
        simultaneous=together(evidence),
        costs=cost_figures(evidence),
        weighted_kappa=weighted_agreement(evidence),
        warnings=suspicions(evidence),
        approved_model_id=evidence.approved_model_id,
        not_compared=evidence.not_compared,
        cost_table=evidence.costs,
    )


def _miss_rates(evidence: AcceptanceEvidence) -> tuple[MissRate, ...]:
    """Over the cuts of both scopes: a miss needs no model."""
    frame = evidence.frame
    random = frame.loc[frame["purpose"] == Purpose.RANDOM, "tolerance_mm"]
    tolerance_mm = float(np.median(random if len(random) else frame["tolerance_mm"]))
    production = production_of(
        evidence.production.seams,
        evidence.production.indications,
        tolerance_mm=tolerance_mm,
        place_mm=place_length_mm(evidence.sections),
    )
    cuts = cuts_of(frame, evidence.indications, evidence.sections, evidence.selection_probabilities)
    return miss_rates(cuts, production, evidence.plan)


def _tolerance(evidence: AcceptanceEvidence) -> tuple[ToleranceCurve, ...]:
    frame = evidence.held_out.frame
    left_out = frame.loc[frame["outcome"] == Outcome.LEFT_OUT]
    here = evidence.sections["section_id"].astype(str).isin(frame["section_id"])
    return tolerance_curves(
        evidence.sections[here],
        evidence.answered,
        evidence.seams,
        in_use_mm=evidence.extra_tolerance_mm,
        plan=evidence.plan,
        left_out=dict(zip(left_out["section_id"], left_out["reason"], strict=True)),
    )

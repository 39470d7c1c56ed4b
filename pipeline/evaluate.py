"""The stage *evaluate*: what a trained model is worth, on sections it never saw."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence, ProductionSample
from seamtell.pipeline.acceptance.making import make_record
from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.stored_seams import decide_stored
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.acceptance_evidence import (
    answered_indications,
    approved_answers,
    examiner_readings,
    production_sample,
    taught_table,
)
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.evidence import Evidence, answered_sections, gather_evidence
from seamtell.pipeline.evaluation.files import (
    EVALUATION_PAGE,
    evaluation_bytes,
    write_acceptance,
    write_evaluation,
)
from seamtell.pipeline.evaluation.importance import Shuffler, descriptor_importance, family_importance
from seamtell.pipeline.evaluation.notes import evaluation_notes
from seamtell.pipeline.evaluation.result import EvaluationResult, ReviewCost, Scope, ScopeResult
from seamtell.pipeline.evaluation.review_cost import accepted_seams, review_cost
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.labelled import descriptor_values, sections_digest
from seamtell.pipeline.settings import evaluation_settings_digest, indication_settings
from seamtell.pipeline.sign_off.approval_log import deviation_words
from seamtell.pipeline.sign_off.criteria import Criteria, read_criteria
from seamtell.pipeline.sign_off.statistics import Statistic
from seamtell.pipeline.store.planned_cuts import read_planned_cuts
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["REVIEW_SAMPLE", "evaluate"]

REVIEW_SAMPLE = 1000
"""Seams of the held-out period that are drawn to see how often a review is asked for."""


def evaluate(ws: Workspace, model_id: str, *, now: datetime) -> EvaluationResult:
    """Evaluate a model on the held-out newest sections and by grouped cross-validation.

    Writes ``evaluation.json``, ``acceptance.json``, ``sections.csv`` and
    ``evaluation.html`` below ``reports/<model_id>/``.

    Parameters
    ----------
    now : datetime
        Timezone-aware; only recorded.

    Raises
    ------
    BadInput
        No such model, no sections, no limits, or criteria that make no sense.
    Refused
        The model cannot be trusted, no section is held out, or sections came in meanwhile.
    StorageProblem
        The reports cannot be written.
    """
    from seamtell.pipeline.report.evaluation_page import write_evaluation_page

    evidence = gather_evidence(ws, model_id)
    criteria, _ = read_criteria(ws.criteria_path)
    held_out = answered_sections(evidence, Scope.HELD_OUT)
    cross_validated = answered_sections(evidence, Scope.CROSS_VALIDATED)
    run = _run_production(evidence, held_out)
    result = _score(evidence, held_out, cross_validated, run.cost, now)
    frame = pd.concat([held_out.frame, cross_validated.frame], ignore_index=True)
    folder = ws.reports_dir / model_id
    answers = _Answers(held_out, cross_validated)
    digest = hashlib.sha256(evaluation_bytes(result)).hexdigest()
    record = _acceptance(evidence, criteria, answers, result, digest, run.production)
    write_evaluation(result, frame, folder)
    write_acceptance(record, folder)
    write_evaluation_page(
        result,
        frame,
        _analyser(evidence),
        folder / EVALUATION_PAGE,
        sign_off=deviation_words(ws, model_id),
    )
    return result


@dataclass(frozen=True, eq=False)
class _Answers:
    held_out: AnsweredSections
    cross_validated: AnsweredSections


@dataclass(frozen=True, eq=False)
class _ProductionRun:
    cost: ReviewCost
    production: ProductionSample


def _acceptance(
    evidence: Evidence,
    criteria: Criteria,
    answers: _Answers,
    result: EvaluationResult,
    digest: str,
    production: ProductionSample,
) -> AcceptanceRecord:
    sections = read_sections(evidence.ws)
    if sections_digest(sections) != evidence.labelled.sections_digest:
        raise Refused(
            "sections were added while the model was evaluated",
            where=str(evidence.ws.root),
            do=f"run 'seamtell evaluate {evidence.model_id}' again",
        )
    sectioned = frozenset(sections["seam_id"])
    seams = evidence.store.metadata()
    compared = approved_answers(evidence)
    return make_record(
        AcceptanceEvidence(
            result=result,
            evaluation_digest=digest,
            held_out=answers.held_out,
            cross_validated=answers.cross_validated,
            sections=sections,
            seams=seams[seams["seam_id"].isin(sectioned)].reset_index(drop=True),
            indications=evidence.labelled.indications,
            taught=taught_table(evidence),
            answered=answered_indications(evidence, answers.held_out),
            production=production,
            extra_tolerance_mm=evidence.settings.match.extra_tolerance_mm,
            plan=evidence.plan,
            approved=compared.answers,
            approved_model_id=compared.model_id,
            not_compared=compared.why_not,
            readings=examiner_readings(evidence),
            costs=criteria.costs,
            margins=_margins(criteria),
            selection_probabilities=read_planned_cuts(evidence.ws).selection_probabilities(),
        )
    )


def _margins(criteria: Criteria) -> dict[str, float]:
    """Greatest loss against the approved model that the criteria allow, by figure."""
    margins = {
        "macro_f1": criteria.margin(Statistic.MACRO_F1_VS_APPROVED),
        "right": criteria.margin(Statistic.RIGHT_VS_APPROVED),
    }
    return {figure: margin for figure, margin in margins.items() if margin is not None and margin >= 0}


def _score(
    evidence: Evidence,
    held_out: AnsweredSections,
    cross_validated: AnsweredSections,
    cost: ReviewCost,
    now: datetime,
) -> EvaluationResult:
    card, plan = evidence.model.card, evidence.plan
    scores: dict[Scope, ScopeResult] = {
        scope: score_scope(scope, sections, chosen=card.chosen, error_rate=card.error_rate, plan=plan)
        for scope, sections in ((Scope.HELD_OUT, held_out), (Scope.CROSS_VALIDATED, cross_validated))
    }
    shuffler = _shuffler(evidence, held_out)
    return EvaluationResult(
        model_id=evidence.model_id,
        model_digest=evidence.digest,
        candidate=card.chosen,
        classes=card.classes,
        left_out_classes=card.left_out_classes,
        sections_digest=evidence.labelled.sections_digest,
        traces_digest=evidence.labelled.traces_digest,
        limits_digest=evidence.limits.digest,
        settings_digest=evaluation_settings_digest(evidence.settings),
        software_version=software_version(),
        evaluated_at=now.astimezone(UTC),
        seed=plan.seed,
        draws=plan.draws,
        held_out=scores[Scope.HELD_OUT],
        cross_validated=scores[Scope.CROSS_VALIDATED],
        review_cost=cost,
        descriptors=descriptor_importance(shuffler, card.descriptor_names),
        families=family_importance(shuffler, card.descriptor_names),
        notes=evaluation_notes(
            scores[Scope.HELD_OUT],
            scores[Scope.CROSS_VALIDATED],
            card.left_out_classes,
            int(evidence.scopes.unused.sum()),
        ),
    )


def _shuffler(evidence: Evidence, held_out: AnsweredSections) -> Shuffler:
    model, card = evidence.model, evidence.model.card
    rows = held_out.frame[held_out.indicated]
    return Shuffler(
        lambda values: model.calibration.apply(model.candidate_probabilities(card.chosen, values)),
        descriptor_values(rows, evidence.labelled.indications, card.descriptor_names),
        rows["truth"].to_numpy(str),
        rows["group"].to_numpy(str),
        card.classes,
        evidence.plan,
    )


def _run_production(evidence: Evidence, held_out: AnsweredSections) -> _ProductionRun:
    """Run the very code of production on seams of the held-out period."""
    conflicts = evidence.store.conflicts()
    decider = Decider(
        evidence.limits,
        indication_settings(evidence.settings.describe),
        evidence.settings.review,
        TrustedModel.of(evidence.model, evidence.model_id, evidence.digest),
        conflicts,
    )

    drawn = _draw_seams(evidence, conflicts)
    sample = list(decide_stored(decider, evidence.store, drawn))
    others = sorted(set(held_out.frame["seam_id"]) - conflicts)
    sectioned = list(decide_stored(decider, evidence.store, others))
    cost = review_cost(
        accepted_seams(sample),
        len(drawn),
        accepted_seams(sectioned),
        held_out.frame,
        evidence.settings.review,
    )
    return _ProductionRun(cost, production_sample(evidence, sample))


def _draw_seams(evidence: Evidence, conflicts: frozenset[str]) -> list[str]:
    """At most `REVIEW_SAMPLE` seams of the held-out period, of coils that training did not see."""
    seams = evidence.store.metadata()
    coil = seams["coil"].fillna("").astype(str)
    group = ("coil:" + coil).where(coil != "", "seam:" + seams["seam_id"].astype(str))
    fresh = (seams["welded_at"] >= pd.Timestamp(evidence.split.cut_time)) & ~group.isin(
        evidence.scopes.training_groups
    )
    fresh &= ~seams["seam_id"].isin(list(conflicts))
    usable = seams.loc[fresh, "seam_id"].astype(str).tolist()
    if len(usable) <= REVIEW_SAMPLE:
        return usable
    rng = np.random.default_rng(evidence.plan.seed)
    return sorted(rng.choice(np.array(usable, dtype=object), REVIEW_SAMPLE, replace=False).tolist())


def _analyser(evidence: Evidence) -> Callable[[str], SeamAnalysis]:
    def analyse(seam_id: str) -> SeamAnalysis:
        trace = evidence.store.get(seam_id)
        limits = evidence.limits.for_recipe(trace.recipe)
        return analyse_seam(trace, limits, indication_settings(evidence.settings.describe))

    return analyse

"""The stage *evaluate*: what a trained model is worth, on sections it never saw."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.features.descriptors import registry
from seamtell.pipeline.decisions.seam_decision import Decider
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.describe import BATCH_SEAMS, batches, indication_settings
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.evidence import Evidence, answered_sections, gather_evidence
from seamtell.pipeline.evaluation.files import (
    EVALUATION_PAGE,
    write_evaluation,
)
from seamtell.pipeline.evaluation.importance import Shuffler, descriptor_importance, family_importance
from seamtell.pipeline.evaluation.notes import evaluation_notes
from seamtell.pipeline.evaluation.result import EvaluationResult, ReviewCost, Scope, ScopeResult
from seamtell.pipeline.evaluation.review_cost import accepted_seams, review_cost
from seamtell.pipeline.evaluation.scoring import score_scope
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["REVIEW_SAMPLE", "evaluate", "evaluation_settings_digest"]

REVIEW_SAMPLE = 1000
"""Seams of the held-out period that are drawn to see how often a review is asked for."""


def evaluation_settings_digest(settings: Settings) -> str:
    """SHA-256 over the settings that shape an evaluation: describing, matching, reviewing."""
    document = settings.model_dump(mode="json", include={"describe", "match", "review"})
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode("utf-8")).hexdigest()


def evaluate(ws: Workspace, model_id: str, *, now: datetime) -> EvaluationResult:
    """Evaluate a model on the held-out newest sections and by grouped cross-validation.

    Writes ``evaluation.json``, ``sections.csv`` and ``evaluation.html`` below
    ``reports/<model_id>/``.

    Parameters
    ----------
    now : datetime
        Timezone-aware; only recorded.

    Raises
    ------
    BadInput
        No such model, no sections, no limits.
    Refused
        The model cannot be trusted, or no section is held out.
    StorageProblem
        The reports cannot be written.
    """
    from seamtell.pipeline.report.evaluation_page import write_evaluation_page

    evidence = gather_evidence(ws, model_id)
    held_out = answered_sections(evidence, Scope.HELD_OUT)
    cross_validated = answered_sections(evidence, Scope.CROSS_VALIDATED)
    result = _score(evidence, held_out, cross_validated, now)
    frame = pd.concat([held_out.frame, cross_validated.frame], ignore_index=True)
    folder = ws.reports_dir / model_id
    write_evaluation(result, frame, folder)
    write_evaluation_page(result, frame, _analyser(evidence), folder / EVALUATION_PAGE)
    return result


def _score(
    evidence: Evidence, held_out: AnsweredSections, cross_validated: AnsweredSections, now: datetime
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
        review_cost=_review_cost(evidence, held_out),
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


def _review_cost(evidence: Evidence, held_out: AnsweredSections) -> ReviewCost:
    """Run the very code of production on seams of the held-out period."""
    names = registry.names()
    columns = tuple(names.index(name) for name in evidence.model.card.descriptor_names)
    conflicts = evidence.store.conflicts()
    decider = Decider(
        evidence.limits,
        indication_settings(evidence.settings.describe),
        evidence.settings.review,
        TrustedModel(evidence.model, evidence.model_id, evidence.digest, columns),
        conflicts,
    )

    def decide(seam_ids: list[str]) -> dict[str, bool]:
        traces = evidence.store.iter_traces(seam_ids)
        return accepted_seams(
            decision for batch in batches(traces, BATCH_SEAMS) for decision in decider.decide(batch)
        )

    drawn = _draw_seams(evidence, conflicts)
    sectioned = sorted(set(held_out.frame["seam_id"]) - conflicts)
    return review_cost(decide(drawn), len(drawn), decide(sectioned), held_out.frame, evidence.settings.review)


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

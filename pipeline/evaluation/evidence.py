"""All that an evaluation reads, and the answers to its sections."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from seamtell.models.answers import Answers
from seamtell.models.flaw_model import FlawModel
from seamtell.pipeline.evaluation.answered import AnsweredSections, answer_sections, answerable
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.cross_validation import (
    candidate_calibrations,
    cross_validated_answers,
    cross_validated_candidates,
    out_of_fold,
)
from seamtell.pipeline.evaluation.limit_detection import limit_exceeded
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scopes import CLASS_LEFT_OUT, Scopes, read_split, split_sections
from seamtell.pipeline.labelled import Labelled, descriptor_values, load_labelled
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.training_files import Split
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.workspace import Workspace

__all__ = ["Evidence", "answered_sections", "gather_evidence"]


@dataclass(frozen=True, eq=False)
class Evidence:
    """All that an evaluation reads, read once."""

    ws: Workspace
    settings: Settings
    limits: Limits
    store: SeamStore
    labelled: Labelled
    model: FlawModel
    model_id: str
    digest: str
    split: Split
    scopes: Scopes
    plan: Plan

    @property
    def folder(self) -> Path:
        """The model folder."""
        return self.ws.models_dir / self.model_id


def gather_evidence(ws: Workspace, model_id: str) -> Evidence:
    """Read model, split, sections and limits, every digest checked.

    Raises
    ------
    BadInput
        No such model, no sections, no limits.
    Refused
        The model cannot be trusted, or no section is held out.
    """
    settings = read_settings(ws.settings_path)
    model, digest = load_verified_model(ws, model_id)
    split = read_split(ws.models_dir / model_id)
    labelled = load_labelled(ws, settings)
    return Evidence(
        ws=ws,
        settings=settings,
        limits=read_limits(ws.limits_path),
        store=SeamStore(ws.traces_dir),
        labelled=labelled,
        model=model,
        model_id=model_id,
        digest=digest,
        split=split,
        scopes=split_sections(labelled.matched, split, model.card),
        plan=Plan(seed=model.card.seed),
    )


def answered_sections(evidence: Evidence, scope: Scope) -> AnsweredSections:
    """Answer the sections of one scope, each by a model that did not see its group."""
    matched = evidence.labelled.matched
    held_out = scope is Scope.HELD_OUT
    here = matched[evidence.scopes.held_out if held_out else evidence.scopes.training].reset_index(drop=True)
    answer = _held_out_answers if held_out else _training_answers
    here, answers, candidates = answer(evidence, here)
    traces = evidence.store.iter_traces(sorted(set(here["seam_id"])))
    return answer_sections(scope, here, answers, candidates, limit_exceeded(here, traces, evidence.limits))


_AnswerParts = tuple[pd.DataFrame, Answers, dict[str, np.ndarray]]


def _held_out_answers(evidence: Evidence, here: pd.DataFrame) -> _AnswerParts:
    card = evidence.model.card
    rows = here[answerable(here)]
    values = descriptor_values(rows, evidence.labelled.indications, card.descriptor_names)
    candidates = {
        name: calibration.apply(evidence.model.candidate_probabilities(name, values))
        for name, calibration in candidate_calibrations(out_of_fold(evidence.folder, card)).items()
    }
    return here, evidence.model.answer(values, rows["recipe"].tolist()), candidates


def _training_answers(evidence: Evidence, here: pd.DataFrame) -> _AnswerParts:
    card = evidence.model.card
    oof = out_of_fold(evidence.folder, card)
    place = {section_id: i for i, section_id in enumerate(oof.section_ids)}
    untaught = answerable(here) & ~here["section_id"].isin(place).to_numpy(bool)
    here = here.assign(left_out=np.where(untaught, CLASS_LEFT_OUT, here["left_out"]))
    order = np.array([place[s] for s in here.loc[answerable(here), "section_id"]], dtype=np.int64)
    answers = cross_validated_answers(oof, card).take(order)
    candidates = {name: values[order] for name, values in cross_validated_candidates(oof).items()}
    return here, answers, candidates

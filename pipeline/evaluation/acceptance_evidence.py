"""Gathering what the acceptance figures rest on beside the evaluation itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
import pandas as pd

from seamtell.features.contracts import Flaw
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.acceptance.evidence import ApprovedAnswers, ProductionSample, TaughtTable
from seamtell.pipeline.acceptance.examiners import Readings
from seamtell.pipeline.acceptance.tolerance import AnsweredIndications
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.cross_validation import candidate_calibrations, out_of_fold
from seamtell.pipeline.evaluation.evidence import Evidence, answered_sections
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scopes import read_split, split_sections
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.sign_off.approval_log import ApprovedModel, approved_model
from seamtell.pipeline.store.readings import read_readings
from seamtell.pipeline.verified_model import load_verified_model

__all__ = [
    "ComparedModel",
    "answered_indications",
    "approved_answers",
    "examiner_readings",
    "production_sample",
    "taught_table",
]


@dataclasses.dataclass(frozen=True, eq=False)
class ComparedModel:
    """The other model that is approved, if there is one and it can be compared.

    Parameters
    ----------
    model_id : str
        Empty where no other model is approved.
    answers : ApprovedAnswers, optional
    why_not : str
        Why there are no answers although one is approved.
    """

    model_id: str = ""
    answers: ApprovedAnswers | None = None
    why_not: str = ""


def approved_answers(evidence: Evidence) -> ComparedModel:
    """Let the approved model answer the held-out sections that it did not train on either."""
    try:
        approved = approved_model(evidence.ws)
    except SeamtellError as problem:
        return ComparedModel(why_not=f"what is approved cannot be told: {problem.what}")
    if approved is None or approved.model_id == evidence.model_id:
        return ComparedModel()
    try:
        return ComparedModel(approved.model_id, _answers_of(evidence, approved))
    except SeamtellError as problem:
        why_not = f"'{approved.model_id}' could not be compared: {problem.what}"
        return ComparedModel(approved.model_id, why_not=why_not)


def _answers_of(evidence: Evidence, approved: ApprovedModel) -> ApprovedAnswers:
    model, digest = load_verified_model(evidence.ws, approved.model_id)
    if digest != approved.digest:
        raise SeamtellError("it is not the model that was signed")
    split = read_split(evidence.ws.models_dir / approved.model_id)
    scopes = split_sections(evidence.labelled.matched, split, model.card)
    both = scopes.held_out & evidence.scopes.held_out
    if not both.any():
        raise SeamtellError("every held-out section of this model was in its training")
    other = dataclasses.replace(
        evidence,
        model=model,
        model_id=approved.model_id,
        digest=digest,
        split=split,
        scopes=dataclasses.replace(scopes, held_out=both),
    )
    sections: AnsweredSections = answered_sections(other, Scope.HELD_OUT)
    return ApprovedAnswers(approved.model_id, sections, sections.candidates[model.card.chosen])


def answered_indications(evidence: Evidence, held_out: AnsweredSections) -> AnsweredIndications:
    """Every indication of the held-out sectioned seams with the answer of the model."""
    card = evidence.model.card
    indications = evidence.labelled.indications
    here = indications[indications["seam_id"].isin(held_out.frame["seam_id"])].reset_index(drop=True)
    values = descriptor_values(here, indications, card.descriptor_names)
    calibration = candidate_calibrations(out_of_fold(evidence.folder, card))[card.chosen]
    return AnsweredIndications(
        indications=here,
        answers=evidence.model.answer(values, here["recipe"].astype(str).tolist()),
        forced=calibration.apply(evidence.model.candidate_probabilities(card.chosen, values)),
    )


def taught_table(evidence: Evidence) -> TaughtTable:
    """Matched sections of training with the descriptors that the model reads."""
    card, table = evidence.model.card, evidence.labelled.table
    matched = evidence.labelled.matched
    training = frozenset(matched.loc[evidence.scopes.training, "section_id"])
    rows = np.array([section in training for section in table.section_ids], dtype=bool)
    columns = [table.names.index(name) for name in card.descriptor_names]
    return TaughtTable(
        values=table.values[rows][:, columns],
        names=tuple(card.descriptor_names),
        truths=table.truths[rows],
        groups=table.groups[rows],
    )


def production_sample(evidence: Evidence, decided: Sequence[DecidedBatch]) -> ProductionSample:
    """Seams of production whose recipe has limits, and the indications found on them.

    A seam that could not be described is left out: it tells nothing of how many there are.
    """
    seams = evidence.store.metadata()
    told = [batch.seam_ids[i] for batch in decided for i in np.flatnonzero(~batch.not_described).tolist()]
    judged = seams["seam_id"].isin(told) & seams["recipe"].isin(list(evidence.limits.recipes))
    found = {
        "seam_id": [batch.seam_ids[i] for batch in decided for i in batch.described.seam],
        "start_mm": np.concatenate([np.empty(0), *(batch.described.start_mm for batch in decided)]),
        "end_mm": np.concatenate([np.empty(0), *(batch.described.end_mm for batch in decided)]),
        "exceeds_limit": np.concatenate([np.empty(0, bool), *(batch.exceeds_limit for batch in decided)]),
    }
    return ProductionSample(
        seams=seams.loc[judged, ["seam_id", "start_mm", "pitch_mm", "n_samples"]].reset_index(drop=True),
        indications=pd.DataFrame(found),
    )


def examiner_readings(evidence: Evidence) -> Readings | None:
    """What several examiners saw at the same sections; None without any reading."""
    rows = read_readings(evidence.ws)
    if rows.empty:
        return None
    return Readings.from_rows(
        rows["section_id"].tolist(),
        rows["examiner"].tolist(),
        rows["flaw"].tolist(),
        [flaw.value for flaw in Flaw],
    )

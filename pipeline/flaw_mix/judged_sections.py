"""The judged sections of the model that labelled, and how production looked when they were chosen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw, Purpose
from seamtell.features.descriptors import registry
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.files import SECTIONS_FILE, read_evaluation
from seamtell.pipeline.evaluation.result import Outcome
from seamtell.pipeline.flaw_mix.confusion_draws import Design, SectionCounts
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.production.decided import ANSWERS
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.workspace import Workspace

__all__ = ["REFERENCE_SEAMS", "TRUTHS", "JudgedSections", "judged_sections"]

TRUTHS: tuple[str, ...] = tuple(flaw.value for flaw in Flaw)
REFERENCE_SEAMS = 1000
"""Seams of the sections' period that are answered at most."""
_AT_INDICATIONS = (Outcome.RIGHT.value, Outcome.WRONG.value, Outcome.ABSTAINED.value)
_BATCH = 250


@dataclass(frozen=True, eq=False)
class JudgedSections:
    """Sections at indications.

    Parameters
    ----------
    counts : SectionCounts
        Strata are answers not above the limit, then the same answers above it.
    truths, answers : int array of shape (n,)
        Of each section, places in `TRUTHS` and `ANSWERS`.
    welded_at : datetime64 array of shape (n,)
    reference_seams : int
    """

    counts: SectionCounts
    truths: NDArray[np.int64]
    answers: NDArray[np.int64]
    welded_at: NDArray[np.datetime64]
    reference_seams: int


def judged_sections(ws: Workspace, record: DecisionRecord, *, seed: int) -> JudgedSections:
    """Read how the model that labelled answered the sections.

    Raises
    ------
    BadInput
        It labelled nothing, was not evaluated, or no section lies at an indication.
    Refused
        The evaluation is of another model of that name, or the model is not what training saved.
    """
    if not record.model_digest:
        raise BadInput("no model labelled these decisions", do="approve a model, then classify again")
    evaluation = read_evaluation(ws.reports_dir / record.model_id)
    if evaluation.model_digest != record.model_digest:
        raise BadInput(
            f"the evaluation is of another model than the '{record.model_id}' that labelled",
            do=f"run 'seamtell evaluate {record.model_id}', and classify again",
        )
    table = _read(ws, record.model_id)
    truths = np.array([TRUTHS.index(name) for name in table["truth"]], dtype=np.int64)
    answers = np.array([ANSWERS.index(name) for name in table["answer"]], dtype=np.int64)
    above = table["limit_exceeded"].to_numpy(bool)
    found = np.zeros((len(TRUTHS), 2 * len(ANSWERS)), dtype=np.int64)
    np.add.at(found, (truths, answers + len(ANSWERS) * above), 1)
    welded = pd.to_datetime(table["welded_at"], utc=True)
    production, seams = _reference(ws, record, welded.min(), welded.max(), seed)
    random = bool((table["purpose"] == Purpose.RANDOM).all())
    counts = SectionCounts(
        found=found,
        production=production,
        answer_of=np.tile(np.arange(len(ANSWERS)), 2),
        answers=len(ANSWERS),
        design=Design.RANDOM if random else Design.BY_STRATUM,
    )
    welded_at = welded.dt.tz_localize(None).to_numpy("datetime64[s]")
    return JudgedSections(counts, truths, answers, welded_at, seams)


def _read(ws: Workspace, model_id: str) -> pd.DataFrame:
    path = ws.reports_dir / model_id / SECTIONS_FILE
    try:
        table = pd.read_csv(path, keep_default_na=False)
        table = table[table["outcome"].isin(_AT_INDICATIONS)]
        if len(table) and set(table["truth"]) <= set(TRUTHS) and set(table["answer"]) <= set(ANSWERS):
            return table.assign(limit_exceeded=table["limit_exceeded"].astype(str) == "True")
    except (OSError, ValueError, KeyError) as problem:
        raise BadInput(
            f"not readable: {str(problem).splitlines()[0]}",
            where=str(path),
            do=f"run 'seamtell evaluate {model_id}' again",
        ) from None
    raise BadInput("no section lies at an indication", where=str(path), do="add sections, then evaluate")


def _reference(
    ws: Workspace, record: DecisionRecord, first: pd.Timestamp, last: pd.Timestamp, seed: int
) -> tuple[NDArray[np.float64], int]:
    """Indications by stratum on a sample of the seams welded in the sections' period, and its seams."""
    model, digest = load_verified_model(ws, record.model_id)
    if digest != record.model_digest:
        raise BadInput("the model that labelled was changed since", do="classify again")
    settings, store = read_settings(ws.settings_path), SeamStore(ws.traces_dir)
    seams = store.metadata()
    conflicts = store.conflicts()
    usable = (seams["welded_at"] >= first) & (seams["welded_at"] <= last)
    usable &= ~seams["seam_id"].isin(list(conflicts))
    ids = seams.loc[usable, "seam_id"].to_numpy(dtype=object)
    if len(ids) > REFERENCE_SEAMS:
        ids = np.sort(np.random.default_rng(seed).choice(ids, REFERENCE_SEAMS, replace=False))
    names = registry.names()
    columns = tuple(names.index(name) for name in model.card.descriptor_names)
    trusted = TrustedModel(model, record.model_id, digest, columns)
    decider = Decider(
        read_limits(ws.limits_path),
        indication_settings(settings.describe),
        settings.review,
        trusted,
        conflicts,
    )
    counts = np.zeros(2 * len(ANSWERS))
    for start in range(0, len(ids), _BATCH):
        traces = list(store.iter_traces(ids[start : start + _BATCH].tolist()))
        decided = decider.decide([trace.seam_id for trace in traces], TraceBatch.of_traces(traces))
        classes = np.array([ANSWERS.index(name) for name in decided.answers.classes] + [len(ANSWERS) - 1])
        # Code -1 is unclassified, the last entry.
        strata = classes[decided.answers.codes] + len(ANSWERS) * decided.exceeds_limit
        counts += np.bincount(strata, minlength=len(counts))
    return counts, len(ids)

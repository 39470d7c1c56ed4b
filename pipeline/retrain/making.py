"""The stage *retrain*: from a file of new sections to a candidate with its dossier, in one go.

Recipe, split and candidates are those of ``seamtell train``. Nothing is approved here: what
comes out waits for a person to sign. A run that was cut short is gone on with by the same
command: sections that are stored already are *unchanged*, and a candidate that was trained
from the very same inputs is not trained again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pydantic import ValidationError

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.dossier.making import make_dossier
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.evaluation.acceptance_evidence import approved_answers
from seamtell.pipeline.evaluation.evidence import answered_sections, gather_evidence
from seamtell.pipeline.evaluation.files import read_acceptance
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scopes import read_split
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.ingest.report import IngestReport
from seamtell.pipeline.labelled import sections_digest
from seamtell.pipeline.retrain.changes import data_change, model_change, sections_at_approval
from seamtell.pipeline.retrain.comparing import (
    HELD_OUT,
    NEWEST,
    answers_table,
    compare_on,
    pair_answers,
)
from seamtell.pipeline.retrain.page import retrain_page
from seamtell.pipeline.retrain.record import RetrainRecord, SharedSections
from seamtell.pipeline.retrain.sentence import sentence_of
from seamtell.pipeline.sign_off.approval_log import ApprovedModel, approved_model
from seamtell.pipeline.store.manifest import MANIFEST_FILE
from seamtell.pipeline.store.sections import add_sections, read_sections
from seamtell.pipeline.train import TrainPhysics, train
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

__all__ = ["RETRAIN_FILE", "RETRAIN_PAGE", "RetrainResult", "retrain"]

RETRAIN_FILE = "retrain.json"
RETRAIN_PAGE = "retrain.html"


@dataclass(frozen=True)
class RetrainResult:
    """What a retraining left.

    Parameters
    ----------
    sections : IngestReport
        Of the file that was taken in.
    record : RetrainRecord
    page, dossier : Path
    tracked : bool
        Whether the tracking server took the run.
    resumed : bool
        A candidate that an earlier run had trained from the same inputs was gone on with.
    """

    sections: IngestReport
    record: RetrainRecord
    page: Path
    dossier: Path
    tracked: bool
    resumed: bool


def _silent(_: str) -> None:
    """Nobody listens."""


def retrain(
    ws: Workspace,
    sections_file: Path,
    *,
    now: datetime,
    replace: bool = False,
    on_step: Callable[[str], object] = _silent,
) -> RetrainResult:
    """Take in sections, train, evaluate, compare with the approved model and write the dossier.

    Parameters
    ----------
    sections_file : Path
        CSV or Parquet; bad rows are kept aside, the rest goes on.
    now : datetime
        Timezone-aware; only recorded.
    replace : bool
        Let rows replace sections of the same id.
    on_step : callable
        Told what is being done.

    Raises
    ------
    BadInput
        The file cannot be read, nothing in it is new, or there are too few sections to train.
    Refused
        The approved model cannot be trusted, or the candidate has no held-out section or was learnt
        from simulation alone.
    WorkspaceBusy, StorageProblem
        As the stages.
    """
    approved = approved_model(ws)
    on_step("taking in the sections")
    report = add_sections(ws, sections_file, replace=replace)
    inputs = _inputs_digest(ws, approved)
    begun = _begun(ws, inputs)
    if begun is not None and begun.finished:
        raise BadInput(
            f"nothing is new: '{begun.model_id}' was retrained from these very sections, settings and limits",
            where=str(sections_file),
            do=f"read reports/{begun.model_id}/{RETRAIN_PAGE}, or add sections first",
        )
    resumed, tracked = begun is not None, True
    if begun is None:
        _check_news(ws, approved, sections_file)
        on_step("training")
        begun, tracked = _trained(ws, inputs, approved, sections_file, now)
    on_step("evaluating")
    evaluate(ws, begun.model_id, now=now)
    on_step("comparing")
    record = _compared(ws, begun, approved)
    on_step("writing the dossier")
    dossier = make_dossier(ws, record.model_id, now=now)
    page = ws.reports_dir / record.model_id / RETRAIN_PAGE
    write_bytes_atomically(page, retrain_page(record).encode("utf-8"))
    _write(ws, record)
    return RetrainResult(report, record, page, dossier.folder, tracked, resumed)


def _inputs_digest(ws: Workspace, approved: ApprovedModel | None) -> str:
    parts = [
        sections_digest(read_sections(ws)).encode(),
        (ws.traces_dir / MANIFEST_FILE).read_bytes(),
        ws.settings_path.read_bytes(),
        ws.limits_path.read_bytes(),
        ws.criteria_path.read_bytes(),
        (approved.digest if approved else "").encode(),
    ]
    return hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()


def _begun(ws: Workspace, inputs: str) -> RetrainRecord | None:
    """The retraining of the same inputs, if there was one and its model is as it was left."""
    for path in sorted(ws.reports_dir.glob(f"m-*/{RETRAIN_FILE}"), reverse=True):
        try:
            record = RetrainRecord.model_validate_json(path.read_bytes())
            if (
                record.inputs_digest == inputs
                and load_verified_model(ws, record.model_id)[1] == record.model_digest
            ):
                return record
        except (OSError, ValidationError, SeamtellError):
            continue  # A record that cannot be read is none: the candidate is trained anew beside it.
    return None


def _check_news(ws: Workspace, approved: ApprovedModel | None, sections_file: Path) -> None:
    """Refuse to train on what the approved model was signed with."""
    if approved is None:
        return
    if approved.approval.sections_digest == sections_digest(read_sections(ws)):
        raise BadInput(
            f"nothing is new: '{approved.model_id}' was signed with these very sections",
            where=str(sections_file),
            do="add sections that were cut since, for example by the form of 'seamtell cutplan'",
        )


def _physics_of(ws: Workspace, approved: ApprovedModel | None) -> TrainPhysics:
    """The same simulated flaws as the approved model had."""
    if approved is None:
        return TrainPhysics.NONE
    card = load_verified_model(ws, approved.model_id)[0].card
    return TrainPhysics.NONE if card.physics is None else TrainPhysics(card.physics.origin)


def _trained(
    ws: Workspace, inputs: str, approved: ApprovedModel | None, sections_file: Path, now: datetime
) -> tuple[RetrainRecord, bool]:
    """Train a candidate, and note at once from what, so that a run that is cut short can be gone on with."""
    result = train(ws, physics=_physics_of(ws, approved), now=now)
    if result.physics_only:
        raise Refused(
            f"too few sections: '{result.model_id}' was learnt from simulation alone, nothing can approve it",
            where=str(result.folder),
            do="add sections, then retrain",
        )
    record = RetrainRecord(
        finished=False,
        model_id=result.model_id,
        model_digest=result.digest,
        inputs_digest=inputs,
        approved_model_id="" if approved is None else approved.model_id,
        software_version=software_version(),
        retrained_at=now.astimezone(UTC),
        sections_file=sections_file.name,
        sentence="",
        data=None,
        model=None,
        shared=(),
        not_compared="",
    )
    _write(ws, record)
    return record, result.tracked


def _write(ws: Workspace, record: RetrainRecord) -> None:
    write_bytes_atomically(ws.reports_dir / record.model_id / RETRAIN_FILE, record.to_json())


def _compared(ws: Workspace, begun: RetrainRecord, approved: ApprovedModel | None) -> RetrainRecord:
    """Fill in what changed and how the two models do on the same sections."""
    before, told = sections_at_approval(ws, None if approved is None else approved.approval)
    sections = read_sections(ws)
    acceptance = read_acceptance(ws.reports_dir / begun.model_id)
    shared, why_not = _shared(ws, begun.model_id, approved, acceptance)
    change = None
    if approved is not None:
        change = model_change(
            load_verified_model(ws, approved.model_id)[0].card,
            load_verified_model(ws, begun.model_id)[0].card,
        )
    record = begun.model_copy(
        update={
            "finished": True,
            "data": data_change(before, told, sections),
            "model": change,
            "shared": shared,
            "not_compared": why_not,
        }
    )
    return record.model_copy(update={"sentence": sentence_of(record)})


def _shared(
    ws: Workspace, model_id: str, approved: ApprovedModel | None, acceptance: AcceptanceRecord
) -> tuple[tuple[SharedSections, ...], str]:
    if approved is None:
        return (), "no model is approved: there is nothing to compare with"
    evidence = gather_evidence(ws, model_id)
    rival = approved_answers(evidence)
    if rival.answers is None:
        return (), rival.why_not or "the approved model could not be compared"
    own = answered_sections(evidence, Scope.HELD_OUT)
    both = pair_answers(
        answers_table(own, own.candidates[evidence.model.card.chosen]),
        answers_table(rival.answers.sections, rival.answers.forced),
    )
    split = read_split(ws.models_dir / approved.model_id)
    known = {*split.training_section_ids, *split.held_out_section_ids}
    newest = frozenset(both["section_id"]) - known
    margins = {one.figure: one.margin for one in acceptance.comparisons if one.margin is not None}

    def on(name: str, among: frozenset[str] | None) -> SharedSections:
        return compare_on(
            name,
            both,
            among,
            approved_model_id=approved.model_id,
            margins=margins,
            plan=evidence.plan,
        )

    return (on(HELD_OUT, None), on(NEWEST, newest)), ""

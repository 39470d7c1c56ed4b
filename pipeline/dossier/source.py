"""Everything that a dossier is rendered from, read from files and found to fit together."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import pandas as pd
from pydantic import ValidationError

from seamtell.models.model_card import ModelCard
from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluation.files import (
    ACCEPTANCE_FILE,
    SECTIONS_FILE,
    evaluation_digest,
    read_evaluation,
)
from seamtell.pipeline.evaluation.present import check_present
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings, indication_settings, read_settings
from seamtell.pipeline.sign_off.approval_log import LogEntry, approved_model, read_log
from seamtell.pipeline.sign_off.criteria import read_criteria
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome
from seamtell.pipeline.sign_off.needed import NeededSections, needed_sections
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.version import software_version
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    from pathlib import Path

    from seamtell.features.describer import SeamAnalysis

__all__ = ["ACCEPTANCE_FILE", "DossierSource", "read_source"]


@dataclass(frozen=True, eq=False)
class DossierSource:
    """What the files say; nothing in it was computed for the dossier.

    Parameters
    ----------
    shop : str
        Name of the shop; empty when the settings give none.
    evaluation : EvaluationResult
    acceptance : AcceptanceRecord
    evaluation_digest, acceptance_digest, sections_csv_digest : str
        SHA-256 of the three files of the report.
    card : ModelCard
    judged : DataFrame
        The rows of ``sections.csv``.
    section_table : DataFrame
        The store of sections: sizes, examiner, day.
    needed : tuple of NeededSections
        One for each outcome of a criterion, in order.
    criteria_digest : str
    log : tuple of LogEntry
        The approval log, its chain verified.
    made_at : datetime
        Timezone-aware; passed in by the command.
    software_version : str
        That renders the dossier.
    analyse : callable
        From a seam id to its analysed trace.
    """

    shop: str
    evaluation: EvaluationResult
    acceptance: AcceptanceRecord
    evaluation_digest: str
    acceptance_digest: str
    sections_csv_digest: str
    card: ModelCard
    judged: pd.DataFrame
    section_table: pd.DataFrame
    needed: tuple[NeededSections, ...]
    criteria_digest: str
    log: tuple[LogEntry, ...]
    made_at: datetime
    software_version: str
    analyse: Callable[[str], SeamAnalysis]

    @property
    def outcomes(self) -> tuple[CriterionOutcome, ...]:
        """The criteria, each held against its figure."""
        return tuple(one.outcome for one in self.needed)


def read_source(ws: Workspace, model_id: str, *, now: datetime) -> DossierSource:
    """Read and check what a dossier of `model_id` is made from.

    Raises
    ------
    BadInput
        No such model, or it was not evaluated.
    Refused
        A digest does not hold, or the evaluation is not of the present model, sections, traces,
        limits or settings; says what to run.
    """
    model, digest = load_verified_model(ws, model_id)
    folder = ws.reports_dir / model_id
    evaluation = read_evaluation(folder)
    acceptance = _read_acceptance(folder, model_id)
    settings = read_settings(ws.settings_path)
    table = read_sections(ws)
    check_present(ws, settings, evaluation, model_id, digest, table, then=", then make the dossier")
    if acceptance.evaluation_digest != evaluation_digest(folder):
        raise Refused(
            "the acceptance statistics go with another evaluation",
            where=str(folder / ACCEPTANCE_FILE),
            do=f"run 'seamtell evaluate {model_id}' again",
        )
    criteria, criteria_digest = read_criteria(ws.criteria_path)
    approved = approved_model(ws)
    return DossierSource(
        shop=settings.shop,
        evaluation=evaluation,
        acceptance=acceptance,
        evaluation_digest=evaluation_digest(folder),
        acceptance_digest=_sha256(folder / ACCEPTANCE_FILE),
        sections_csv_digest=_sha256(folder / SECTIONS_FILE),
        card=model.card,
        judged=_read_judged(folder, model_id),
        section_table=table,
        needed=needed_sections(
            criteria, evaluation, acceptance, approved_model_id=approved.model_id if approved else ""
        ),
        criteria_digest=criteria_digest,
        log=read_log(ws),
        made_at=now,
        software_version=software_version(),
        analyse=_analyser(ws, settings),
    )


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _read_acceptance(folder: Path, model_id: str) -> AcceptanceRecord:
    path = folder / ACCEPTANCE_FILE
    again = f"run 'seamtell evaluate {model_id}' again"
    if not path.is_file():
        raise BadInput("the evaluation has no acceptance statistics", where=str(path), do=again)
    try:
        return AcceptanceRecord.model_validate_json(path.read_bytes())
    except ValidationError as problem:
        first = problem.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise Refused(f"not a whole record: '{key}': {first['msg']}", where=str(path), do=again) from None


def _read_judged(folder: Path, model_id: str) -> pd.DataFrame:
    path = folder / SECTIONS_FILE
    if not path.is_file():
        raise BadInput(
            "the evaluation has lost its sections",
            where=str(path),
            do=f"run 'seamtell evaluate {model_id}' again",
        )
    frame = pd.read_csv(path, dtype={"section_id": str, "seam_id": str, "recipe": str, "group": str})
    for name in ("section_id", "seam_id", "recipe", "group"):
        # The apostrophe keeps spreadsheets from reading a formula; it is no part of the name.
        frame[name] = frame[name].fillna("").str.replace(r"^'(?= *[=+\-@])", "", regex=True)
    return frame


def _analyser(ws: Workspace, settings: Settings) -> Callable[[str], SeamAnalysis]:
    from seamtell.features.describer import analyse_seam

    store = SeamStore(ws.traces_dir)
    limits = read_limits(ws.limits_path)

    def analyse(seam_id: str) -> SeamAnalysis:
        trace = store.get(seam_id)
        return analyse_seam(trace, limits.for_recipe(trace.recipe), indication_settings(settings.describe))

    return analyse

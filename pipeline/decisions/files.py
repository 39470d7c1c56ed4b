"""The decision files: ``indications.parquet``, ``decisions.parquet`` and ``decision.json``.

The two tables are folders of Parquet parts, which are read like one file. They hold no
time, so the same input and model give the same bytes; ``decision.json`` says when, with
what and on what, and its presence says that the folder is complete. A trial run writes
``trial.json`` in its place and ``trial_label`` for ``label``, so nothing that looks for
decisions takes a trial for one.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from seamtell.pipeline.decisions.decision_tables import (
    DECISION_COLUMNS,
    INDICATION_COLUMNS,
    TRIAL_INDICATION_COLUMNS,
    TRIAL_LABEL,
)
from seamtell.pipeline.decisions.tally import Tally
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.sign_off.log_entry import Deviation
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "DECISIONS_FILE",
    "DECISION_COLUMNS",
    "INDICATIONS_FILE",
    "INDICATION_COLUMNS",
    "RECORD_FILE",
    "TRIAL_INDICATION_COLUMNS",
    "TRIAL_LABEL",
    "TRIAL_RECORD_FILE",
    "DecisionCounts",
    "DecisionRecord",
    "TrialRecord",
    "check_empty",
    "damaged_decisions",
    "decision_folders",
    "newest_decisions",
    "read_decisions",
    "read_record",
    "record_file",
]

INDICATIONS_FILE = "indications.parquet"
DECISIONS_FILE = "decisions.parquet"
RECORD_FILE = "decision.json"
TRIAL_RECORD_FILE = "trial.json"


class DecisionCounts(BaseModel):
    """How many of what. Labels that nobody got are there with zero; reasons only when they occur."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seams: int
    indications: int
    verdicts: dict[str, int]
    labels: dict[str, int]
    unclassified_by_reason: dict[str, int]

    @classmethod
    def of(cls, tally: Tally) -> DecisionCounts:
        """What the files keep of a tally."""
        return cls(
            seams=tally.seams,
            indications=tally.indications,
            verdicts=dict(tally.verdicts),
            labels=dict(tally.labels),
            unclassified_by_reason=dict(tally.unclassified_by_reason),
        )


class DecisionRecord(BaseModel):
    """``decision.json``: what the decisions rest on."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = 1
    software_version: str
    decided_at: datetime
    model_id: str
    model_digest: str
    model_reason: str
    """Why no model labelled; empty when one did."""
    limits_digest: str
    settings_digest: str
    input_digest: str
    """SHA-256 over the ids and content digests of the seams."""
    since: datetime | None
    until: datetime | None
    counts: DecisionCounts
    unread_seams: int = 0
    """Seams in damaged parts of the store, on which nothing was decided."""
    deviation: Deviation | None = None
    """The model was approved against failed criteria, for a time."""
    log_seq: int = 0
    log_digest: str = ""
    """Number and digest of the last entry of the approval log; empty when the log was broken."""

    def to_json(self) -> bytes:
        """The file's content."""
        return (self.model_dump_json(indent=2) + "\n").encode("utf-8")


class TrialRecord(DecisionRecord):
    """``trial.json``: an unapproved model labelled; the verdicts are those of a run without a model."""

    trial: Literal[True] = True
    physics_only: bool
    """The model was learnt from simulation alone: its probabilities are not calibrated."""


def record_file(record: DecisionRecord) -> str:
    """Name of the file that holds a record."""
    return TRIAL_RECORD_FILE if isinstance(record, TrialRecord) else RECORD_FILE


def check_empty(folder: Path) -> None:
    """Refuse a folder that holds something: decisions are never overwritten.

    Raises
    ------
    BadInput
        It does, or is a file.
    """
    with storage_errors(folder):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BadInput(
                "not an empty folder; decisions are never overwritten",
                where=str(folder),
                do="say --out with a new folder",
            )


def decision_folders(ws: Workspace) -> list[Path]:
    """Folders of complete decisions that are kept in the workspace; trial runs are none."""
    return [
        path.parent
        for path in ws.decisions_dir.glob(f"*/{RECORD_FILE}")
        if not path.parent.name.startswith(".")
    ]


def newest_decisions(ws: Workspace) -> Path:
    """Folder of the decisions made last, of those kept in the workspace; trial runs are none.

    Raises
    ------
    BadInput
        There are none.
    """
    folders = decision_folders(ws)
    if not folders:
        raise BadInput(
            "no decisions yet",
            where=str(ws.decisions_dir),
            do="run 'seamtell classify', or say --decisions DIR",
        )
    return max(folders, key=lambda folder: (_read_record(folder).decided_at, folder.name))


def read_decisions(folder: Path, *, trial: bool = False) -> tuple[pd.DataFrame, pd.DataFrame, DecisionRecord]:
    """Read a folder of decisions.

    Parameters
    ----------
    trial : bool
        Whether a trial run will do too. Its record is a `TrialRecord`, its labels are in ``label``.

    Returns
    -------
    indications, decisions : pandas.DataFrame
    record : DecisionRecord

    Raises
    ------
    BadInput
        Not a complete folder of decisions, or one of a trial run.
    """
    import pandas as pd

    from seamtell.pipeline.store.damage import PARQUET_DAMAGE

    record = read_record(folder, trial=trial)
    columns = TRIAL_INDICATION_COLUMNS if isinstance(record, TrialRecord) else INDICATION_COLUMNS
    try:
        indications = pd.read_parquet(folder / INDICATIONS_FILE, columns=list(columns))
        decisions = pd.read_parquet(folder / DECISIONS_FILE, columns=list(DECISION_COLUMNS))
    except PARQUET_DAMAGE as problem:
        raise damaged_decisions(problem, folder) from None
    return indications.rename(columns={TRIAL_LABEL: "label"}), decisions, record


def damaged_decisions(problem: Exception, where: Path) -> BadInput:
    """What a user is told when decisions cannot be read."""
    return BadInput(
        f"damaged decisions: {str(problem).splitlines()[0]}", where=str(where), do="classify again"
    )


def read_record(folder: Path, *, trial: bool = False) -> DecisionRecord:
    """Read what a folder of decisions rests on.

    Parameters
    ----------
    trial : bool
        Whether a trial run will do too; its record is a `TrialRecord`.

    Raises
    ------
    BadInput
        Not a complete folder of decisions, or one of a trial run.
    """
    is_trial = (folder / TRIAL_RECORD_FILE).is_file() and not (folder / RECORD_FILE).is_file()
    if not is_trial:
        return _read_record(folder)
    if not trial:
        raise BadInput(
            "a trial run: an unapproved model labelled it, so these are no decisions",
            where=str(folder),
            do="name a folder of decisions",
        )
    return _validated(folder / TRIAL_RECORD_FILE, TrialRecord)


def _read_record(folder: Path) -> DecisionRecord:
    if not (folder / RECORD_FILE).is_file():
        raise BadInput(
            f"no {RECORD_FILE} here, so no complete decisions",
            where=str(folder),
            do="name a folder of decisions",
        )
    return _validated(folder / RECORD_FILE, DecisionRecord)


def _validated(path: Path, kind: type[DecisionRecord]) -> DecisionRecord:
    try:
        return kind.model_validate_json(path.read_bytes())
    except (OSError, ValidationError) as problem:
        raise BadInput(
            f"not readable: {str(problem).splitlines()[0]}", where=str(path), do="classify again"
        ) from None

"""The decision files: ``indications.parquet``, ``decisions.parquet`` and ``decision.json``.

The two tables hold no time, so the same input and model give the same bytes;
``decision.json`` says when, with what and on what, and its presence says that the
folder is complete.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, ValidationError

from seamtell.pipeline.decisions.answer_table import ANSWER_COLUMNS, LIST_MARK, answer_table
from seamtell.pipeline.decisions.seam_decision import SeamDecision
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import make_folder, storage_errors, write_bytes_atomically
from seamtell.pipeline.files.table_stream import TableStream, stream_table
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = [
    "DECISIONS_FILE",
    "DECISION_COLUMNS",
    "INDICATIONS_FILE",
    "INDICATION_COLUMNS",
    "RECORD_FILE",
    "DecisionCounts",
    "DecisionRecord",
    "DecisionWriter",
    "decision_folder",
    "newest_decisions",
    "read_decisions",
]

INDICATIONS_FILE = "indications.parquet"
DECISIONS_FILE = "decisions.parquet"
RECORD_FILE = "decision.json"

_PLACE_COLUMNS = ("seam_id", "indication", "start_mm", "end_mm", "peak_mm", "exceeds_limit")

INDICATION_COLUMNS: tuple[str, ...] = (*_PLACE_COLUMNS, *ANSWER_COLUMNS)
"""Columns of ``indications.parquet``, one row per indication."""

DECISION_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "verdict",
    "limit_verdict",
    "exceeded_channels",
    "indications",
    "unclassified",
    "reason",
    "model_digest",
)
"""Columns of ``decisions.parquet``, one row per seam."""


class DecisionCounts(BaseModel):
    """How many of what. Labels that nobody got are there with zero; reasons only when they occur."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seams: int
    indications: int
    verdicts: dict[str, int]
    labels: dict[str, int]
    unclassified_by_reason: dict[str, int]


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


class DecisionWriter:
    """Writes decisions batch by batch into the two tables of an open folder."""

    def __init__(self, indications: TableStream, decisions: TableStream, model_digest: str) -> None:
        self._indications = indications
        self._decisions = decisions
        self._model_digest = model_digest

        self.record: DecisionRecord | None = None
        """Set it at the end: it completes the folder when that is closed."""

    def write(self, batch: Sequence[SeamDecision]) -> pd.DataFrame:
        """Append `batch`; returns its rows of ``indications.parquet``."""
        import pandas as pd

        rows = _indication_rows(batch)
        self._indications.write(rows)
        self._decisions.write(pd.DataFrame([_decision_row(one, self._model_digest) for one in batch]))
        return rows


@contextmanager
def decision_folder(folder: Path, model_digest: str) -> Iterator[DecisionWriter]:
    """Open a new or empty folder for decisions; on any error it is left as it was.

    Raises
    ------
    BadInput
        `folder` holds something already.
    StorageProblem
        The disk is full, read-only or fails.
    """
    with storage_errors(folder):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BadInput(
                "not an empty folder; decisions are never overwritten",
                where=str(folder),
                do="say --out with a new folder",
            )
    existed = folder.exists()
    make_folder(folder)
    try:
        with ExitStack() as stack:
            decisions = stack.enter_context(stream_table(folder / DECISIONS_FILE, _decisions_schema()))
            indications = stack.enter_context(stream_table(folder / INDICATIONS_FILE, _indications_schema()))
            writer = DecisionWriter(indications, decisions, model_digest)
            yield writer
        if writer.record is not None:
            text = writer.record.model_dump_json(indent=2) + "\n"
            write_bytes_atomically(folder / RECORD_FILE, text.encode("utf-8"))
    except BaseException:
        with suppress(OSError):
            for name in (INDICATIONS_FILE, DECISIONS_FILE):
                (folder / name).unlink(missing_ok=True)
            if not existed:
                folder.rmdir()
        raise


def newest_decisions(ws: Workspace) -> Path:
    """Folder of the decisions made last, of those kept in the workspace.

    Raises
    ------
    BadInput
        There are none.
    """
    folders = [path.parent for path in ws.decisions_dir.glob(f"*/{RECORD_FILE}")]
    if not folders:
        raise BadInput(
            "no decisions yet",
            where=str(ws.decisions_dir),
            do="run 'seamtell classify', or say --decisions DIR",
        )
    return max(folders, key=lambda folder: (_read_record(folder).decided_at, folder.name))


def read_decisions(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame, DecisionRecord]:
    """Read a folder of decisions.

    Returns
    -------
    indications, decisions : pandas.DataFrame
    record : DecisionRecord

    Raises
    ------
    BadInput
        Not a complete folder of decisions.
    """
    import pandas as pd
    import pyarrow as pa

    record = _read_record(folder)
    try:
        indications = pd.read_parquet(folder / INDICATIONS_FILE, columns=list(INDICATION_COLUMNS))
        decisions = pd.read_parquet(folder / DECISIONS_FILE, columns=list(DECISION_COLUMNS))
    except (OSError, pa.ArrowException) as problem:
        raise BadInput(
            f"damaged decisions: {str(problem).splitlines()[0]}", where=str(folder), do="classify again"
        ) from None
    return indications, decisions, record


def _read_record(folder: Path) -> DecisionRecord:
    path = folder / RECORD_FILE
    try:
        return DecisionRecord.model_validate_json(path.read_bytes())
    except FileNotFoundError:
        raise BadInput(
            f"no {RECORD_FILE} here, so no complete decisions",
            where=str(folder),
            do="name a folder of decisions",
        ) from None
    except (OSError, ValidationError) as problem:
        raise BadInput(
            f"not readable: {str(problem).splitlines()[0]}", where=str(path), do="classify again"
        ) from None


def _indication_rows(batch: Sequence[SeamDecision]) -> pd.DataFrame:
    import pandas as pd

    found = [indication for one in batch for indication in one.indications]
    if not found:
        return pd.DataFrame(columns=list(INDICATION_COLUMNS))
    places = pd.DataFrame(
        [(i.seam_id, i.indication, i.start_mm, i.end_mm, i.peak_mm, i.exceeds_limit) for i in found],
        columns=list(_PLACE_COLUMNS),
    )
    # Answers of one seam know their classes; seams without a model know all and say nothing.
    answers = [answer_table(one.answers) for one in batch if one.indications]
    return pd.concat([places, pd.concat(answers, ignore_index=True)], axis=1)


def _decision_row(one: SeamDecision, model_digest: str) -> dict[str, object]:
    return {
        "seam_id": one.seam_id,
        "verdict": one.verdict.text,
        "limit_verdict": one.limit.verdict.text,
        "exceeded_channels": LIST_MARK.join(one.limit.exceeded_channels),
        "indications": len(one.indications),
        "unclassified": sum(bool(reason) for reason in one.answers.reasons),
        "reason": one.reason,
        "model_digest": model_digest,
    }


def _indications_schema() -> pa.Schema:
    import pyarrow as pa

    kinds = {
        "seam_id": pa.string(),
        "indication": pa.int64(),
        "exceeds_limit": pa.bool_(),
        "label": pa.string(),
        "label_set": pa.string(),
        "reason": pa.string(),
    }
    return pa.schema([(name, kinds.get(name, pa.float64())) for name in INDICATION_COLUMNS])


def _decisions_schema() -> pa.Schema:
    import pyarrow as pa

    counted = ("indications", "unclassified")
    return pa.schema([(name, pa.int64() if name in counted else pa.string()) for name in DECISION_COLUMNS])

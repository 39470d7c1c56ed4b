"""The files that an evaluation leaves: ``evaluation.json``, ``acceptance.json`` and ``sections.csv``."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.export_text import spreadsheet_safe

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "ACCEPTANCE_FILE",
    "EVALUATION_FILE",
    "EVALUATION_PAGE",
    "SECTIONS_FILE",
    "evaluation_bytes",
    "evaluation_digest",
    "read_acceptance",
    "read_evaluation",
    "sections_csv",
    "write_acceptance",
    "write_evaluation",
]

EVALUATION_FILE = "evaluation.json"
ACCEPTANCE_FILE = "acceptance.json"
SECTIONS_FILE = "sections.csv"
EVALUATION_PAGE = "evaluation.html"


def sections_csv(frame: pd.DataFrame) -> bytes:
    """The section rows as CSV that no spreadsheet runs as a formula; the same rows give the same bytes."""
    import pandas as pd

    safe = frame.copy()
    safe["welded_at"] = safe["welded_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    for name in safe.columns:
        if safe[name].dtype == object or isinstance(safe[name].dtype, pd.StringDtype):
            safe[name] = [spreadsheet_safe(text) if isinstance(text, str) else text for text in safe[name]]
    return safe.to_csv(index=False, lineterminator="\n", float_format="%.10g").encode("utf-8", "replace")


def evaluation_bytes(result: EvaluationResult) -> bytes:
    """The bytes of ``evaluation.json``."""
    return (result.model_dump_json(indent=1) + "\n").encode("utf-8")


def write_evaluation(result: EvaluationResult, frame: pd.DataFrame, folder: Path) -> None:
    """Write both files atomically."""
    write_bytes_atomically(folder / SECTIONS_FILE, sections_csv(frame))
    write_bytes_atomically(folder / EVALUATION_FILE, evaluation_bytes(result))


def read_evaluation(folder: Path) -> EvaluationResult:
    """Read ``evaluation.json`` of a report folder.

    Raises
    ------
    BadInput
        The model was not evaluated.
    Refused
        The file is not what an evaluation writes.
    """
    path = folder / EVALUATION_FILE
    again = f"run 'seamtell evaluate {folder.name}'"
    if not path.is_file():
        raise BadInput("the model was not evaluated yet", where=str(path), do=again)
    try:
        return EvaluationResult.model_validate_json(path.read_bytes())
    except ValidationError as problem:
        raise Refused(_first_complaint(problem, "evaluation"), where=str(path), do=again) from None


def write_acceptance(record: AcceptanceRecord, folder: Path) -> None:
    """Write ``acceptance.json`` into `folder`, atomically.

    Raises
    ------
    StorageProblem
    """
    text = record.model_dump_json(indent=1) + "\n"
    write_bytes_atomically(folder / ACCEPTANCE_FILE, text.encode("utf-8"))


def read_acceptance(folder: Path) -> AcceptanceRecord:
    """Read ``acceptance.json`` of a report folder, checked against the evaluation beside it.

    Raises
    ------
    BadInput
        The model was not evaluated, or by a version that did not write the record.
    Refused
        The file is not what an evaluation writes, or it belongs to another evaluation.
    """
    path = folder / ACCEPTANCE_FILE
    again = f"run 'seamtell evaluate {folder.name}'"
    if not path.is_file():
        raise BadInput("there are no acceptance figures", where=str(path), do=again)
    try:
        record = AcceptanceRecord.model_validate_json(path.read_bytes())
    except ValidationError as problem:
        raise Refused(_first_complaint(problem, "acceptance record"), where=str(path), do=again) from None
    if not (folder / EVALUATION_FILE).is_file() or record.evaluation_digest != evaluation_digest(folder):
        raise Refused("the acceptance figures are of another evaluation", where=str(path), do=again)
    return record


def _first_complaint(problem: ValidationError, what: str) -> str:
    first = problem.errors()[0]
    key = ".".join(str(part) for part in first["loc"])
    return f"not a whole {what}: '{key}': {first['msg']}"


def evaluation_digest(folder: Path) -> str:
    """SHA-256 of the bytes of ``evaluation.json``."""
    return hashlib.sha256((folder / EVALUATION_FILE).read_bytes()).hexdigest()

"""The files that an evaluation leaves: ``evaluation.json`` and ``sections.csv``."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd
from pydantic import ValidationError

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.export_text import spreadsheet_safe

__all__ = [
    "EVALUATION_FILE",
    "EVALUATION_PAGE",
    "SECTIONS_FILE",
    "evaluation_digest",
    "read_evaluation",
    "sections_csv",
    "write_evaluation",
]

EVALUATION_FILE = "evaluation.json"
SECTIONS_FILE = "sections.csv"
EVALUATION_PAGE = "evaluation.html"


def sections_csv(frame: pd.DataFrame) -> bytes:
    """The section rows as CSV that no spreadsheet runs as a formula; the same rows give the same bytes."""
    safe = frame.copy()
    safe["welded_at"] = safe["welded_at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    for name in safe.columns:
        if safe[name].dtype == object or isinstance(safe[name].dtype, pd.StringDtype):
            safe[name] = [spreadsheet_safe(text) if isinstance(text, str) else text for text in safe[name]]
    return safe.to_csv(index=False, lineterminator="\n", float_format="%.10g").encode("utf-8", "replace")


def write_evaluation(result: EvaluationResult, frame: pd.DataFrame, folder: Path) -> None:
    """Write both files atomically."""
    write_bytes_atomically(folder / SECTIONS_FILE, sections_csv(frame))
    text = result.model_dump_json(indent=1) + "\n"
    write_bytes_atomically(folder / EVALUATION_FILE, text.encode("utf-8"))


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
        first = problem.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise Refused(f"not a whole evaluation: '{key}': {first['msg']}", where=str(path), do=again) from None


def evaluation_digest(folder: Path) -> str:
    """SHA-256 of the bytes of ``evaluation.json``."""
    return hashlib.sha256((folder / EVALUATION_FILE).read_bytes()).hexdigest()

"""Tables that people export row by row: read whole, or refused whole; and what the store keeps of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import pandas as pd

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.atomic import storage_errors
from seamtell.pipeline.ingest.reasons import InputRejected

__all__ = ["Rows", "given_rows", "kept_table"]

Rows = list[tuple[int, dict[str, str]]]
"""Line number and the row's texts by column."""


def given_rows(path: Path, read: Callable[[Path], Iterable[tuple[int, dict[str, str]]]], what: str) -> Rows:
    """Read all rows that somebody gave us.

    Raises
    ------
    BadInput
        The file as a whole cannot be read, or holds no row.
    """
    try:
        rows = list(read(path))
    except InputRejected as problem:
        where = f"{path}, line {problem.row}" if problem.row else str(path)
        raise BadInput(problem.message, where=where, do=problem.do) from None
    if not rows:
        raise BadInput("a table without rows", where=str(path), do=f"export the {what} again")
    return rows


def kept_table(path: Path, columns: Sequence[str], what: str) -> pd.DataFrame:
    """Read what the store keeps.

    Raises
    ------
    StorageProblem
        The file is damaged.
    """
    try:
        with storage_errors(path):
            return pd.read_parquet(path)[list(columns)]
    except (ValueError, KeyError) as problem:
        raise StorageProblem(
            f"{what} is damaged: {str(problem)[:200]}", where=str(path), do="restore it from a backup"
        ) from None

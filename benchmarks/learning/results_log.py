"""Results of cells, one JSON line each as they come, so that an interrupted run is not lost."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from learning.answering import Answer, CellResult
from learning.cells import Cell

__all__ = ["add_result", "read_results"]


def add_result(path: Path, result: CellResult) -> None:
    """Append one line; what an interruption left of a line stays a line of its own."""
    cut = path.is_file() and not path.read_bytes().endswith(b"\n")
    with path.open("a", encoding="utf-8") as stream:
        stream.write(("\n" if cut else "") + json.dumps(asdict(result)) + "\n")


def read_results(path: Path) -> dict[Cell, CellResult]:
    """All whole lines of `path`; one that an interruption cut is left out and trained again."""
    if not path.is_file():
        return {}
    found = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            document = json.loads(line)
        except json.JSONDecodeError:
            continue
        answers = tuple(
            Answer(**{**one, "borders": tuple(one["borders"])}) for one in document.pop("answers")
        )
        cell = Cell(**document.pop("cell"))
        found[cell] = CellResult(cell, answers=answers, **document)
    return found

"""Which files the words of an ingest call mean."""

from __future__ import annotations

import glob
from collections.abc import Sequence
from pathlib import Path

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.workspace import Workspace

__all__ = ["TRACE_SUFFIXES", "find_trace_files", "require_file"]

TRACE_SUFFIXES = (".csv", ".txt", ".parquet")


def find_trace_files(workspace: Workspace | None, paths: Sequence[Path]) -> list[Path]:
    """Files, the trace files of folders (with those below), and what globs match; sorted, each once.

    Raises
    ------
    BadInput
        A path that is not there, a glob without a match, or a folder without trace files.
    """
    if not paths:
        raise BadInput("no files given", do="name files, folders or globs")
    found: set[Path] = set()
    for path in paths:
        found.update(_expand(workspace, path))
    return sorted(found)


def require_file(path: Path) -> None:
    """Refuse what is not there, and a folder where one file is wanted.

    Raises
    ------
    BadInput
    """
    if path.is_dir():
        raise BadInput("a folder, expected one file", where=str(path), do="name a file in it")
    if not path.is_file():
        raise BadInput("no such file", where=str(path), do="mend the path")


def _expand(workspace: Workspace | None, path: Path) -> list[Path]:
    if path.is_dir():
        files = [file for file in _below(path) if not _is_ours(workspace, file)]
        if not files:
            raise BadInput(
                "no trace files in this folder",
                where=str(path),
                do=f"files end in {', '.join(TRACE_SUFFIXES)}",
            )
        return files
    if path.exists():
        return [path.absolute()]
    if glob.has_magic(str(path)):
        # Path.glob takes no absolute pattern.
        matches = [Path(match) for match in glob.glob(str(path), recursive=True)]  # noqa: PTH207
        files = [match.absolute() for match in matches if match.is_file()]
        files += [file for match in matches if match.is_dir() for file in _below(match)]
        files = [file for file in files if not _is_ours(workspace, file)]
        if files:
            return files
        raise BadInput("no file matches", where=str(path), do="mend the pattern")
    raise BadInput("no such file or folder", where=str(path), do="mend the path")


def _below(folder: Path) -> list[Path]:
    return [
        file.absolute()
        for file in folder.rglob("*")
        if file.suffix.lower() in TRACE_SUFFIXES and not file.name.startswith(".") and file.is_file()
    ]


def _is_ours(workspace: Workspace | None, file: Path) -> bool:
    """Whether a file belongs to the workspace's own stores, which must never be read as input."""
    if workspace is None:
        return False
    stores = (
        workspace.traces_dir,
        workspace.rejected_dir,
        workspace.sections_dir,
        workspace.described_dir,
        workspace.models_dir,
        workspace.decisions_dir,
        workspace.watch_dir,
        workspace.reports_dir,
        workspace.tracking_dir,
    )
    return any(file.is_relative_to(store) for store in stores)

"""Runs of the reference blank, read like any trace but kept out of the seam store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from math import isfinite
from pathlib import Path

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.checks import to_trace
from seamtell.pipeline.ingest.discover import find_trace_files
from seamtell.pipeline.ingest.profile_choice import choose_profile
from seamtell.pipeline.ingest.readers import read_seams
from seamtell.pipeline.ingest.reasons import InputRejected
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.physics.blank_file import Blank
from seamtell.pipeline.physics.physics_file import THICKNESS_TOLERANCE_MM
from seamtell.pipeline.workspace import Workspace

__all__ = ["check_length", "read_runs", "runs_of_line"]


class _NoLimits(Limits):
    """A reference blank is measured, not judged: its recipe needs no limits."""

    def get(self, recipe: str) -> RecipeLimits:
        return RecipeLimits(recipe, {}, 0.0, 0.0, 0.0)


def read_runs(
    ws: Workspace, paths: Sequence[Path], profile: str | None, blank: Blank, line: str
) -> tuple[SeamTrace, ...]:
    """Read every run, by time.

    Raises
    ------
    BadInput
        A file that cannot be read, a run of another line, with other sheets, shorter than the
        blank, or given twice.
    """
    return runs_of_line(ws, paths, profile, blank.path, line, partial(_check, blank=blank))


def runs_of_line(
    ws: Workspace,
    paths: Sequence[Path],
    profile: str | None,
    blank_path: Path,
    line: str,
    check: Callable[[SeamTrace, Path], None],
) -> tuple[SeamTrace, ...]:
    """Read every run of a blank, by time.

    Parameters
    ----------
    check : callable
        Given a run and its file; raises `BadInput` where the run does not fit the blank.

    Raises
    ------
    BadInput
        A file that cannot be read, a run of another line or given twice, or what `check` raises.
    """
    runs: dict[str, SeamTrace] = {}
    for path, trace in _each_run(ws, paths, profile, blank_path):
        if trace.seam_id in runs:
            raise BadInput(f"run '{trace.seam_id}' is there twice", where=str(path), do="name it once")
        if trace.line != line:
            raise BadInput(
                f"run '{trace.seam_id}' is of line '{trace.line}', expected '{line}'",
                where=str(path),
                do="name the runs of one line, or another --line",
            )
        check(trace, path)
        runs[trace.seam_id] = trace
    return tuple(sorted(runs.values(), key=lambda run: (run.welded_at, run.seam_id)))


def check_length(trace: SeamTrace, length_mm: float, tolerance_mm: float, path: Path) -> None:
    """Refuse a run that misses an end of its blank by more than the tolerance.

    Raises
    ------
    BadInput
    """
    length = trace.end_mm - trace.start_mm
    if length < length_mm - 2 * tolerance_mm:
        raise BadInput(
            f"run '{trace.seam_id}' is {length:.1f} mm long, the blank {length_mm:g} mm",
            where=str(path),
            do="record the whole blank, or mend length_mm of its file",
        )


def _each_run(
    ws: Workspace, paths: Sequence[Path], profile: str | None, blank_path: Path
) -> Iterator[tuple[Path, SeamTrace]]:
    chosen = choose_profile(ws, profile)
    nothing = _NoLimits(blank_path, "", {})
    for path in find_trace_files(None, paths):
        own = chosen.for_file(path)
        for item in read_seams(path, own):
            try:
                if isinstance(item.outcome, InputRejected):
                    raise item.outcome
                trace, _ = to_trace(item.outcome, own, nothing)
            except InputRejected as problem:
                row = f", row {problem.row}" if problem.row else ""
                raise BadInput(
                    f"{problem.code}: {problem.message} (read with input profile '{chosen.name}')",
                    where=f"{path}{row}",
                    do=f"{problem.do}; say --profile default when the runs are in the contract layout",
                ) from None
            yield path, trace


def _check(trace: SeamTrace, path: Path, blank: Blank) -> None:
    for sheet, stated, measured in (
        ("A", blank.joint.sheet_a_mm, trace.thickness_a_mm),
        ("B", blank.joint.sheet_b_mm, trace.thickness_b_mm),
    ):
        if isfinite(measured) and abs(measured - stated) > THICKNESS_TOLERANCE_MM:
            raise BadInput(
                f"run '{trace.seam_id}': sheet {sheet} is {measured:g} mm, the blank says {stated:g} mm",
                where=str(path),
                do="name the runs of this blank, or mend its file",
            )
    check_length(trace, blank.length_mm, blank.tolerance_mm, path)

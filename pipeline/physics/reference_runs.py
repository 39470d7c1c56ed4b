"""Runs of the reference blank, read like any trace but kept out of the seam store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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

__all__ = ["iter_runs", "read_runs"]


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
    runs: dict[str, SeamTrace] = {}
    for path, trace in iter_runs(ws, paths, profile, blank.path):
        if trace.seam_id in runs:
            raise BadInput(f"run '{trace.seam_id}' is there twice", where=str(path), do="name it once")
        _check(trace, blank, line, path)
        runs[trace.seam_id] = trace
    return tuple(sorted(runs.values(), key=lambda run: (run.welded_at, run.seam_id)))


def iter_runs(
    ws: Workspace, paths: Sequence[Path], profile: str | None, blank_path: Path
) -> Iterator[tuple[Path, SeamTrace]]:
    """Read trace files of a blank one by one; what they mean is for the caller to check.

    Raises
    ------
    BadInput
        A file that cannot be read.
    """
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


def _check(trace: SeamTrace, blank: Blank, line: str, path: Path) -> None:
    if trace.line != line:
        raise BadInput(
            f"run '{trace.seam_id}' is of line '{trace.line}', not '{line}'",
            where=str(path),
            do="name the runs of one line, or another --line",
        )
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
    length = trace.end_mm - trace.start_mm
    if length < blank.length_mm - 2 * blank.tolerance_mm:
        raise BadInput(
            f"run '{trace.seam_id}' is {length:.1f} mm long, the blank {blank.length_mm:g} mm",
            where=str(path),
            do="record the whole blank, or mend length_mm of its file",
        )

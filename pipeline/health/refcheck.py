"""The stage *refcheck*: runs of the reference blank against what is expected of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from math import isfinite
from pathlib import Path

import numpy as np

from seamtell.features.contracts import Channel, SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.health.check_record import CheckedFlaw, CheckEntry, add_checks
from seamtell.pipeline.health.expected import ExpectedBlank, read_expected_blank, with_expected
from seamtell.pipeline.health.flaw_return import (
    FlawReturn,
    Level,
    Tolerances,
    judge,
    laid_mm,
    measure,
    turned,
)
from seamtell.pipeline.health.summary import write_health
from seamtell.pipeline.health.suspects import Suspects, write_suspects
from seamtell.pipeline.physics.reference_runs import check_length, runs_of_line
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.workspace import Workspace

__all__ = ["RefcheckResult", "measured_blank", "measured_lines", "refcheck"]


@dataclass(frozen=True)
class RefcheckResult:
    """What was found and recorded.

    Parameters
    ----------
    checks : tuple of CheckEntry
        A run each, by time.
    suspects : Suspects or None
        Seams around the last run given that stops: since the good check before it.
    """

    checks: tuple[CheckEntry, ...]
    suspects: Suspects | None

    @property
    def level(self) -> Level:
        """Of the latest run: this is what holds now."""
        return self.checks[-1].level


def refcheck(
    ws: Workspace,
    blank_path: Path,
    traces: Sequence[Path],
    line: str,
    *,
    head: str = "",
    profile: str | None = None,
    now: datetime,
) -> RefcheckResult:
    """Check runs of one line, and add them to the record.

    Parameters
    ----------
    head : str, optional
        Serial number or name of the head, so that its exchange shows in the trend.
    now : datetime
        Timezone-aware.

    Raises
    ------
    BadInput
        The blank's file or a run cannot be used: another line, recipe or blank, too short,
        laid the other way round, or older than the last check on record.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    settings = read_settings(ws.settings_path).health
    blank = read_expected_blank(blank_path)
    tolerances = Tolerances(settings.warn_db, settings.stop_db)
    runs = _runs(ws, traces, profile, blank, line)
    entries = [_entry(run, blank, tolerances, head, now) for run in runs]
    recorded = add_checks(ws, entries)
    write_health(ws, now=now)
    stopped = [check for check in recorded if check.level is Level.STOP]
    return RefcheckResult(recorded, write_suspects(ws, stopped[-1]) if stopped else None)


def measured_lines(
    ws: Workspace, blank_path: Path, traces: Sequence[Path], line: str, *, profile: str | None = None
) -> tuple[tuple[str, str], ...]:
    """Measure what good runs give, as lines for the blank's file; nothing is recorded.

    Returns
    -------
    tuple of (str, str)
        Name of the flaw, and its ``expected_pct`` line: the median over the runs.

    Raises
    ------
    BadInput
        As `refcheck`; or a flaw that does not show in every run.
    """
    blank = read_expected_blank(blank_path, known=False)
    runs = _runs(ws, traces, profile, blank, line)
    found = [measure(run, blank) for run in runs]
    lines = []
    for returns in zip(*found, strict=True):
        if lost := [run.seam_id for run, one in zip(runs, returns, strict=True) if one.missing]:
            raise BadInput(
                f"{returns[0].name} does not show in run '{lost[0]}'",
                where=str(blank_path),
                do="measure with good runs of this blank, or mend the position in its file",
            )
        medians = {c: float(np.median([one.peak_pct[c] for one in returns])) for c in Channel}
        values = ", ".join(f"{c.value} = {value:.1f}" for c, value in medians.items())
        lines.append((returns[0].name, f"expected_pct = {{ {values} }}"))
    return tuple(lines)


def measured_blank(
    ws: Workspace, blank_path: Path, traces: Sequence[Path], line: str, *, profile: str | None = None
) -> str:
    """Text of the blank's file, its flaws in order of position, with the lines of `measured_lines`."""
    measured = measured_lines(ws, blank_path, traces, line, profile=profile)
    return with_expected(blank_path.read_text(encoding="utf-8"), [text for _, text in measured])


def _runs(
    ws: Workspace, paths: Sequence[Path], profile: str | None, blank: ExpectedBlank, line: str
) -> tuple[SeamTrace, ...]:
    runs = runs_of_line(ws, paths, profile, blank.path, line, partial(_check, blank=blank))
    if not runs:
        raise BadInput("no run in what was named", where=", ".join(map(str, paths)), do="name trace files")
    return runs


def _check(trace: SeamTrace, path: Path, blank: ExpectedBlank) -> None:
    run = f"run '{trace.seam_id}'"
    names = [name for name in (blank.name, blank.recipe) if name]
    if trace.recipe not in names:
        raise BadInput(
            f"{run} has recipe '{trace.recipe}', expected {' or '.join(map(repr, names))}",
            where=str(path),
            do="name runs of this blank, or the file of the other one",
        )
    check_length(trace, blank.length_mm, blank.tolerance_mm, path)
    if turned(trace, blank):
        raise BadInput(
            f"{run}: positions are reversed: read from its other end it fits the blank",
            where=str(path),
            do="lay the blank with its marked end first and record it again, or mend the travel direction",
        )


def _entry(
    run: SeamTrace, blank: ExpectedBlank, tolerances: Tolerances, head: str, now: datetime
) -> CheckEntry:
    returns = measure(run, blank)
    laid = laid_mm(returns)
    flaws = tuple(_checked(one, laid, blank.tolerance_mm, tolerances) for one in returns)
    return CheckEntry(
        run_id=run.seam_id,
        run_at=run.welded_at,
        checked_at=now,
        line=run.line,
        head=head or run.extra.get("head", ""),
        blank=blank.name,
        blank_digest=blank.digest,
        warn_db=tolerances.warn_db,
        stop_db=tolerances.stop_db,
        tolerance_mm=blank.tolerance_mm,
        flaws=flaws,
        level=max(flaw.level for flaw in flaws),
    )


def _checked(one: FlawReturn, laid: float, tolerance_mm: float, tolerances: Tolerances) -> CheckedFlaw:
    return CheckedFlaw(
        name=one.name,
        expected_mm=one.expected_mm,
        offset_mm=one.offset_mm if isfinite(one.offset_mm) else None,
        peak_pct=dict(one.peak_pct),
        deviation_db=dict(one.deviation_db),
        level=judge(one, laid, tolerance_mm, tolerances),
    )

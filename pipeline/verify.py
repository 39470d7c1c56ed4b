"""The stage *verify*: is everything still as it was signed?

It writes nothing, recomputes every digest from the files, and goes on after the first
thing that does not match, so that one look shows all of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.sign_off.anchor import Anchor, anchor_problem
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.check_result import (
    Check,
    CheckOutcome,
    Finding,
    checked,
    fault,
    fine,
    note,
    unchecked,
)
from seamtell.pipeline.sign_off.log_checks import (
    check_agreement,
    check_clock,
    check_copies,
    check_counts,
    check_criteria_met,
    check_signatures,
)
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.sign_off.present_checks import (
    check_criteria,
    check_decisions,
    check_environment,
    check_limits,
    check_models,
    check_report,
    check_sections,
    check_settings,
    check_traces,
)
from seamtell.pipeline.sign_off.states import approved_standing
from seamtell.pipeline.workspace import Workspace

__all__ = ["VerifyResult", "verify"]


@dataclass(frozen=True)
class VerifyResult:
    """All checks in order.

    Parameters
    ----------
    checks : tuple of Check
    approved_model_id : str
        By the log; empty when no model is approved, or the log cannot be trusted.
    """

    checks: tuple[Check, ...]
    approved_model_id: str

    @property
    def first_mismatch(self) -> Check | None:
        """The first thing that is not as it was signed."""
        return next((one for one in self.checks if one.outcome is CheckOutcome.MISMATCH), None)


def verify(
    ws: Workspace, *, now: datetime, anchor: Anchor | None = None, registry: bool = True
) -> VerifyResult:
    """Check log, signatures, signed copies and the present state against each other.

    Parameters
    ----------
    now : datetime
        Timezone-aware.
    anchor : Anchor, optional
        Head of the log that was kept elsewhere.
    registry : bool
        Whether to look at the aliases of the model registry too.

    Raises
    ------
    BadInput
        The settings cannot be read.
    """
    settings = read_settings(ws.settings_path)
    try:
        entries = read_log(ws)
        standing = approved_standing(entries)
    except SeamtellError as problem:
        broken = Check("log", CheckOutcome.MISMATCH, str(problem))
        rest = Check("everything else", CheckOutcome.NOT_CHECKED, "the log cannot be trusted")
        return VerifyResult((broken, rest), "")
    approval = standing.approval if standing else None
    looks = {
        **_log_looks(ws, entries, settings, anchor, now),
        **_present_looks(ws, approval, settings),
        "registry": lambda: _check_registry(ws, settings, entries, look=registry),
    }
    checks = tuple(checked(name, look) for name, look in looks.items())
    return VerifyResult(checks, approval.model_id if approval else "")


def _log_looks(
    ws: Workspace, entries: tuple[LogEntry, ...], settings: Settings, anchor: Anchor | None, now: datetime
) -> dict[str, Callable[[], Finding]]:
    return {
        "log": lambda: fine(f"the chain of {len(entries)} entries holds"),
        "anchor": lambda: _check_anchor(anchor, entries),
        "signed copies": lambda: check_copies(ws, entries),
        "clock": lambda: check_clock(ws, entries, now),
        "signatures": lambda: check_signatures(ws, entries, required=settings.sign_off.require_signature),
        "signed digests": lambda: check_agreement(ws, entries),
        "confusion counts": lambda: check_counts(ws, entries),
        "criteria met": lambda: check_criteria_met(ws, entries),
        "deviation": lambda: _check_deviation(entries, now),
        "decisions": lambda: check_decisions(ws, entries),
        "models": lambda: check_models(ws, entries),
    }


def _present_looks(
    ws: Workspace, approval: LogEntry | None, settings: Settings
) -> dict[str, Callable[[], Finding]]:
    looks: dict[str, Callable[[LogEntry], Finding]] = {
        "limits": lambda entry: check_limits(ws, entry),
        "settings": lambda entry: check_settings(settings, entry),
        "criteria": lambda entry: check_criteria(ws, entry),
        "sections": lambda entry: check_sections(ws, entry),
        "traces": lambda entry: check_traces(ws, entry),
        "report": lambda entry: check_report(ws, entry),
        "environment": check_environment,
    }
    if approval is None:
        return {name: lambda: unchecked("no model is approved") for name in looks}
    known = approval
    return {name: lambda look=look: look(known) for name, look in looks.items()}  # type: ignore[misc]


def _check_anchor(anchor: Anchor | None, entries: tuple[LogEntry, ...]) -> Finding:
    if anchor is None:
        return unchecked("say --anchor FILE: a chain alone cannot show that its end was cut or written anew")
    problem = anchor_problem(anchor, entries)
    if problem:
        return fault(problem)
    return fine(
        f"entry {anchor.seq} is the one that the anchor knows, {len(entries) - anchor.seq} came after"
    )


def _check_deviation(entries: tuple[LogEntry, ...], now: datetime) -> Finding:
    standing = approved_standing(entries)
    if standing is None or standing.approval.deviation is None:
        return fine("no approval against failed criteria is in force")
    deviation = standing.approval.deviation
    over = " (over: the limit rule decides alone)" if now >= deviation.ends_at else ""
    return note(f"{standing.approval.model_id} was {deviation.sentence}{over}")


def _check_registry(
    ws: Workspace, settings: Settings, entries: tuple[LogEntry, ...], *, look: bool
) -> Finding:
    if not look:
        return unchecked("left out as asked")
    from seamtell.pipeline.tracking.aliases import wanted_aliases
    from seamtell.pipeline.tracking.server import ServerProblem, registry_aliases

    try:
        have = registry_aliases(ws, settings.track)
    except ServerProblem as problem:
        return unchecked(f"the registry cannot be reached: {problem}")
    if have is None:
        return unchecked("there is no registry yet")
    for alias, approval in wanted_aliases(entries).items():
        found = have.get(alias)
        if found == (approval.model_digest if approval else None):
            continue
        if found is None and approval is not None and alias != "approved":
            continue  # an old model need not be on the server in use
        should = approval.model_id if approval else "no model"
        what = "does not exist" if found is None else f"points at the model of digest {found[:12]}"
        return fault(
            f"alias '{alias}' {what}, by the log it is {should}. To do: 'seamtell track push' mends it"
        )
    return fine("the aliases follow the log")

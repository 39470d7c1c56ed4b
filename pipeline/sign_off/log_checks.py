"""Checks of the log against itself: its times, its signatures, and the signed copies."""

from __future__ import annotations

import io
import json
from datetime import datetime

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.files import EVALUATION_FILE, SECTIONS_FILE
from seamtell.pipeline.evaluation.result import MATRIX_COLUMNS, MATRIX_ROWS, Scope
from seamtell.pipeline.sign_off.check_result import Finding, fault, fine, note
from seamtell.pipeline.sign_off.evidence_copy import (
    REPORT_FILES,
    SECTION_TABLE,
    altered_evidence,
    evidence_bytes,
    read_signed_acceptance,
)
from seamtell.pipeline.sign_off.keys import check_signature, trusted_keys
from seamtell.pipeline.sign_off.log_entry import Action, LogEntry
from seamtell.pipeline.sign_off.states import Standing, approved_standing
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "check_agreement",
    "check_clock",
    "check_copies",
    "check_counts",
    "check_criteria_met",
    "check_signatures",
]

Entries = tuple[LogEntry, ...]


def check_clock(ws: Workspace, entries: Entries, now: datetime) -> Finding:
    """Times that step back, lie before the evaluation that was signed, or in the future."""
    told = []
    for before, entry in zip((None, *entries), entries, strict=False):
        if before is not None and entry.time < before.time:
            why = "the person said so" if entry.earlier_clock else "schema 1 did not look"
            told.append(f"entry {entry.seq} is dated before entry {before.seq} ({why})")
        if entry.action is Action.APPROVE and EVALUATION_FILE in entry.evidence:
            evaluated = datetime.fromisoformat(_evaluation(ws, entry)["evaluated_at"])
            if entry.time < evaluated and not entry.earlier_clock:
                return fault(
                    f"entry {entry.seq} is dated {entry.time:%Y-%m-%d %H:%M:%S} UTC, before the evaluation "
                    f"that it signs ({evaluated:%Y-%m-%d %H:%M:%S} UTC)"
                )
        if entry.time > now:
            told.append(f"entry {entry.seq} is dated in the future: one of the two clocks is wrong")
    return note("; ".join(told)) if told else fine("no time steps back")


def _evaluation(ws: Workspace, entry: LogEntry) -> dict[str, str]:
    try:
        document = json.loads(evidence_bytes(ws, entry, EVALUATION_FILE))
    except ValueError:
        document = None
    if not isinstance(document, dict) or "evaluated_at" not in document:
        raise Refused("the signed evaluation cannot be read", where=f"entry {entry.seq}")
    return document


def check_signatures(ws: Workspace, entries: Entries, *, required: bool) -> Finding:
    """Each signature, and which entries have none."""
    keys = trusted_keys(ws)
    signed: list[str] = []
    unsigned: list[str] = []
    for entry in entries:
        key = check_signature(entry, keys)
        (unsigned if key is None else signed).append(
            f"{entry.seq}" if key is None else f"{entry.seq} by '{key.name}' ({key.fingerprint[:16]})"
        )
    standing = approved_standing(entries)
    if required and standing is not None and standing.approval.signature is None:
        return fault(
            f"entry {standing.approval.seq}, by which the approved model is at work, is not signed, "
            "and the workspace asks for signatures"
        )
    words = f"signed: {', '.join(signed) or 'none'}; not signed: {', '.join(unsigned) or 'none'}"
    return note(words) if unsigned else fine(words)


def check_copies(ws: Workspace, entries: Entries) -> Finding:
    """The kept copy of every file that any entry signed."""
    for entry in entries:
        problem = altered_evidence(ws, entry)
        if problem:
            return fault(problem)
    without = [str(entry.seq) for entry in entries if not entry.evidence]
    copies = len({digest for entry in entries for digest in entry.evidence.values()})
    if without:
        return note(f"{copies} signed copies are whole; entry {', '.join(without)} kept none")
    return fine(f"{copies} signed copies are whole")


def check_agreement(ws: Workspace, entries: Entries) -> Finding:
    """Whether each entry says of its evidence what the evidence says of itself."""
    for entry in entries:
        if not entry.evidence:
            continue
        stated = _evaluation(ws, entry)
        pairs = {
            "model": (entry.model_digest, stated.get("model_digest")),
            "sections": (entry.sections_digest, stated.get("sections_digest")),
            "traces": (entry.traces_digest, stated.get("traces_digest")),
            "limits": (entry.limits_digest, stated.get("limits_digest")),
            "settings": (entry.settings_digest, stated.get("settings_digest")),
            "evaluation": (entry.evaluation_digest, entry.evidence[EVALUATION_FILE]),
            "limit file": (entry.limits_digest, entry.evidence.get(ws.limits_path.name)),
            "criteria file": (entry.criteria_digest, entry.evidence.get(ws.criteria_path.name)),
            "section table": (entry.sections_digest, entry.evidence.get(SECTION_TABLE)),
        }
        for name, (said, found) in pairs.items():
            if said != found:
                return fault(f"entry {entry.seq} and its signed evaluation differ on the {name}")
    return fine("entries and signed evaluations name the same digests")


def check_counts(ws: Workspace, entries: Entries) -> Finding:
    """The confusion counts of each signed evaluation, counted again from its section rows."""
    for entry in entries:
        if SECTIONS_FILE not in entry.evidence:
            continue
        problem = _count_problem(
            evidence_bytes(ws, entry, EVALUATION_FILE), evidence_bytes(ws, entry, SECTIONS_FILE)
        )
        if problem:
            return fault(f"signed evaluation of entry {entry.seq}: {problem}")
    return fine("the confusion counts follow from the section rows")


def _count_problem(evaluation: bytes, rows: bytes) -> str:
    import pandas as pd

    from seamtell.pipeline.evaluation.confusion import confusion_matrix
    from seamtell.pipeline.evaluation.result import EvaluationResult

    try:
        result = EvaluationResult.model_validate_json(evaluation)
        frame = pd.read_csv(io.BytesIO(rows), dtype=str, keep_default_na=False)
        for scope in Scope:
            stated = result.scope(scope).matrix
            counted = confusion_matrix(frame[frame["scope"] == scope.value])
            for truth in MATRIX_ROWS:
                for answer in MATRIX_COLUMNS:
                    said, found = stated.count(truth, answer), counted.count(truth, answer)
                    if said != found:
                        return (
                            f"{scope}, truth {truth}, answer {answer}: it says {said}, the rows give {found}"
                        )
    except (ValueError, KeyError) as problem:
        return f"cannot be read: {str(problem).splitlines()[0]}"
    return ""


def check_criteria_met(ws: Workspace, entries: Entries) -> Finding:
    """The signed criteria held again against the signed figures of every approval.

    What fails must be exactly what the entry says was deviated from.
    """
    looked = 0
    for number, entry in enumerate(entries):
        if entry.action is not Action.APPROVE or not entry.evidence:
            continue
        looked += 1
        failed = _failed_criteria(ws, entry, approved_standing(entries[:number]))
        stated = set(entry.deviation.failed) if entry.deviation else set()
        if failed != stated:
            names = ", ".join(sorted(failed ^ stated))
            return fault(
                f"entry {entry.seq}: on its signed figures {len(failed)} criteria fail, it deviates from "
                f"{len(stated)}; they differ on {names}"
            )
    return fine(f"{looked} approvals met their criteria, or state which they deviate from")


def _failed_criteria(ws: Workspace, entry: LogEntry, before: Standing | None) -> set[str]:
    from seamtell.pipeline.evaluation.result import EvaluationResult
    from seamtell.pipeline.sign_off.criteria import read_criteria
    from seamtell.pipeline.sign_off.criteria_check import apply_criteria

    files = {name: evidence_bytes(ws, entry, name) for name in REPORT_FILES if name in entry.evidence}
    evidence_bytes(ws, entry, ws.criteria_path.name)
    criteria, _ = read_criteria(ws.evidence_dir / entry.criteria_digest)
    try:
        result = EvaluationResult.model_validate_json(files[EVALUATION_FILE])
    except ValueError as problem:
        raise Refused(
            f"the signed evaluation cannot be read: {str(problem).splitlines()[0]}",
            where=f"entry {entry.seq}",
        ) from None
    outcomes = apply_criteria(
        criteria,
        result,
        read_signed_acceptance(files, ws.reports_dir / entry.model_id),
        approved_model_id=before.approval.model_id if before else "",
    )
    return {one.criterion.id for one in outcomes if not one.passed}

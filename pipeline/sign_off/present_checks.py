"""Checks of the present workspace against the approval that is in force."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from seamtell.pipeline.labelled import section_table_bytes, traces_digest
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings, evaluation_settings_digest
from seamtell.pipeline.sign_off.check_result import Finding, fault, fine, note, unchecked
from seamtell.pipeline.sign_off.environment import environment, environment_changes
from seamtell.pipeline.sign_off.evidence_copy import (
    REPORT_FILES,
    SECTION_TABLE,
    evidence_bytes,
    sha256_of,
)
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.sign_off.seen_heads import decision_records, unknown_head
from seamtell.pipeline.sign_off.states import ModelState, standings
from seamtell.pipeline.store.rows import content_sha256
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "check_criteria",
    "check_decisions",
    "check_environment",
    "check_limits",
    "check_models",
    "check_report",
    "check_sections",
    "check_settings",
    "check_traces",
]


def check_models(ws: Workspace, entries: tuple[LogEntry, ...]) -> Finding:
    """The folders of the approved model and of those that could be reinstated."""
    from seamtell.models.errors import ModelRefused
    from seamtell.models.model_file import model_digest

    whole: list[str] = []
    gone: list[str] = []
    for model_id, standing in sorted(standings(entries).items(), key=lambda item: item[1].state):
        if standing.state is ModelState.WITHDRAWN:
            continue
        folder = ws.models_dir / model_id
        if not folder.is_dir() and standing.state is ModelState.SUPERSEDED:
            gone.append(model_id)
            continue
        try:
            digest = model_digest(folder)
        except ModelRefused as problem:
            return fault(f"{standing.state} model {model_id}: {problem}")
        if digest != standing.approval.model_digest:
            return fault(
                f"{folder}: its digest is not that of the {standing.state} model of entry "
                f"{standing.approval.seq}"
            )
        whole.append(model_id)
    words = f"as signed: {', '.join(whole) or 'none'}"
    return note(f"{words}; superseded and no longer here: {', '.join(gone)}") if gone else fine(words)


def check_limits(ws: Workspace, entry: LogEntry) -> Finding:
    """The limit file in use."""
    if read_limits(ws.limits_path).digest != entry.limits_digest:
        return fault(f"{ws.limits_path.name} was changed since entry {entry.seq} signed it")
    return fine("limits as signed")


def check_settings(settings: Settings, entry: LogEntry) -> Finding:
    """The settings that decide what is found, matched and reviewed."""
    if entry.schema_version == 1:
        return unchecked(f"entry {entry.seq} of schema 1 does not state them")
    if evaluation_settings_digest(settings) != entry.settings_digest:
        return fault(f"[describe], [match] or [review] was changed since entry {entry.seq} signed it")
    return fine("settings as signed")


def check_criteria(ws: Workspace, entry: LogEntry) -> Finding:
    """The criteria: the next approval may ask for more, so a change is told and no fault."""
    if not ws.criteria_path.is_file() or sha256_of(ws.criteria_path.read_bytes()) != entry.criteria_digest:
        return note(
            f"{ws.criteria_path.name} was changed since entry {entry.seq}: those that were signed are kept, "
            "the present ones hold for the next approval"
        )
    return fine("criteria as signed")


def _rows(data: bytes) -> pd.DataFrame:
    import pandas as pd

    return pd.read_csv(io.BytesIO(data), dtype=str, keep_default_na=False)


def check_sections(ws: Workspace, entry: LogEntry) -> Finding:
    """Every section that was signed must still be there as it was; new ones may stand beside them."""
    present = read_sections(ws)
    if SECTION_TABLE not in entry.evidence:
        if sha256_of(section_table_bytes(present)) == entry.sections_digest:
            return fine("sections as signed")
        return fault(f"the section table grew or was changed since entry {entry.seq}, which kept no copy")
    data = evidence_bytes(ws, entry, SECTION_TABLE)
    signed = _rows(data)
    ids = frozenset(signed["section_id"])
    columns = [name for name in present.columns if name in signed.columns]
    same = present.loc[present["section_id"].isin(ids), columns]
    if sha256_of(section_table_bytes(same)) == entry.sections_digest:
        added = len(present) - len(same)
        return (
            note(f"{added} sections were added since, the signed ones are as they were")
            if added
            else fine("sections as signed")
        )
    return fault(_first_difference(signed, _rows(section_table_bytes(same)), entry.seq))


def _first_difference(signed: pd.DataFrame, present: pd.DataFrame, seq: int) -> str:
    now = {row["section_id"]: row for row in present.to_dict("records")}
    for row in signed.to_dict("records"):
        section = row["section_id"]
        if section not in now:
            return f"section '{section}' of entry {seq} is no longer in the section table"
        for name, value in row.items():
            if now[section].get(name) != value:
                return (
                    f"section '{section}', {name}: entry {seq} signed '{value}', "
                    f"the section table has '{now[section].get(name, 'no such column')}'"
                )
    return f"the section table is not the one of entry {seq}"


def check_traces(ws: Workspace, entry: LogEntry) -> Finding:
    """Every trace that was sectioned, computed anew from its samples."""
    if SECTION_TABLE not in entry.evidence:
        return unchecked(f"entry {entry.seq} of schema 1 does not state them")
    ids = frozenset(_rows(evidence_bytes(ws, entry, SECTION_TABLE))["seam_id"])
    store = SeamStore(ws.traces_dir)
    seams = store.metadata()
    seams = seams[seams["seam_id"].isin(ids)]
    if traces_digest(seams) != entry.traces_digest:
        return fault(f"a trace that was sectioned is not the one of entry {entry.seq}, or is gone")
    stated = dict(zip(seams["seam_id"], seams["content_sha256"], strict=True))
    for trace in store.iter_traces(list(seams["seam_id"])):
        if content_sha256(trace) != stated[trace.seam_id]:
            return fault(f"the samples of seam '{trace.seam_id}' are not those that were signed")
    return fine(f"{len(seams)} sectioned traces as signed")


def check_report(ws: Workspace, entry: LogEntry) -> Finding:
    """The report in the folder that people open."""
    folder = ws.reports_dir / entry.model_id
    signed = {name: entry.evidence[name] for name in REPORT_FILES if name in entry.evidence}
    if not signed:
        signed = {REPORT_FILES[0]: entry.evaluation_digest}
    for name, digest in signed.items():
        path = folder / name
        if not path.is_file():
            return fault(f"{path}: signed by entry {entry.seq}, and gone")
        if sha256_of(path.read_bytes()) != digest:
            kept = f"; the signed one is {ws.evidence_dir / digest}" if entry.evidence else ""
            return fault(f"{path}: edited or made again since entry {entry.seq} signed it{kept}")
    return fine(f"{', '.join(signed)} as signed")


def check_environment(entry: LogEntry) -> Finding:
    """The library versions: another one is told, and no fault."""
    if not entry.environment:
        return unchecked(f"entry {entry.seq} of schema 1 does not state it")
    changes = environment_changes(entry.environment, environment())
    if changes:
        return note(f"since entry {entry.seq}: {'; '.join(changes)}")
    return fine("library versions as signed")


def check_decisions(ws: Workspace, entries: tuple[LogEntry, ...]) -> Finding:
    """Decisions name the head of the log under which they were made; it must still be in the log."""
    paths = decision_records(ws)
    problem = unknown_head(paths, entries)
    if problem:
        return fault(problem)
    return fine(f"{len(paths)} decisions in the workspace rest on entries of this log")

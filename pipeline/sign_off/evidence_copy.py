"""Copies of all that was signed: ``evidence/<SHA-256>``, each file under its own digest.

A report may be made again, limits and criteria change, sections are added: the
approval still shows what the person who signed had before them. The log entry
names each file with its digest, and the same bytes are kept once.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from pydantic import ValidationError

from seamtell.pipeline.acceptance.record import AcceptanceRecord
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.files import (
    ACCEPTANCE_FILE,
    EVALUATION_FILE,
    EVALUATION_PAGE,
    SECTIONS_FILE,
)
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "REPORT_FILES",
    "SECTION_TABLE",
    "altered_evidence",
    "evidence_bytes",
    "keep_evidence",
    "read_signed_acceptance",
    "report_files",
    "sha256_of",
]

REPORT_FILES = (EVALUATION_FILE, SECTIONS_FILE, ACCEPTANCE_FILE, EVALUATION_PAGE)
"""Files of a report folder that are signed, where they are there."""

SECTION_TABLE = "section_table.csv"
"""Every section that the workspace held, as the digest of the sections is computed over it."""


def sha256_of(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def report_files(folder: Path) -> dict[str, bytes]:
    """Name and bytes of every file of a report folder that is to be signed."""
    found = {}
    for name in REPORT_FILES:
        with storage_errors(folder / name):
            if (folder / name).is_file():
                found[name] = (folder / name).read_bytes()
    return found


def read_signed_acceptance(files: dict[str, bytes], folder: Path) -> AcceptanceRecord | None:
    """The acceptance figures among the files of a report; None when it has none.

    Raises
    ------
    Refused
        Not such figures, or of another evaluation than the one beside them.
    """
    if ACCEPTANCE_FILE not in files:
        return None
    again = f"run 'seamtell evaluate {folder.name}' again"
    where = str(folder / ACCEPTANCE_FILE)
    try:
        record = AcceptanceRecord.model_validate_json(files[ACCEPTANCE_FILE])
    except ValidationError as problem:
        raise Refused(
            f"not whole acceptance figures: {str(problem).splitlines()[0]}", where=where, do=again
        ) from None
    if record.evaluation_digest != sha256_of(files[EVALUATION_FILE]):
        raise Refused("the acceptance figures are of another evaluation", where=where, do=again)
    return record


def keep_evidence(ws: Workspace, files: dict[str, bytes]) -> dict[str, str]:
    """Keep a copy of each of `files` and return name to digest.

    Raises
    ------
    StorageProblem
        A copy cannot be written.
    """
    digests = {}
    for name, data in files.items():
        digest = sha256_of(data)
        path = ws.evidence_dir / digest
        with storage_errors(path):
            kept = path.is_file() and path.read_bytes() == data
        if not kept:
            write_bytes_atomically(path, data)
        digests[name] = digest
    return digests


def evidence_bytes(ws: Workspace, entry: LogEntry, name: str) -> bytes:
    """The signed copy of one file of `entry`.

    Raises
    ------
    Refused
        It is missing or not the bytes that were signed.
    """
    digest = entry.evidence[name]
    path = ws.evidence_dir / digest
    try:
        data = path.read_bytes()
    except OSError:
        data = None
    if data is None or sha256_of(data) != digest:
        what = "is missing" if data is None else "was altered"
        raise Refused(
            f"the signed copy of {name} (entry {entry.seq}) {what}",
            where=str(path),
            do="restore the file from a copy of the workspace, or approve again",
        )
    return data


def altered_evidence(ws: Workspace, entry: LogEntry) -> str:
    """What is wrong with the first signed copy that is missing or altered; empty when all hold."""
    for name in sorted(entry.evidence):
        try:
            evidence_bytes(ws, entry, name)
        except Refused as problem:
            return str(problem)
    return ""

"""Reading one of our own TOML files: text, schema version and keys, with one line for each fault."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors

__all__ = ["complaint_text", "first_complaint", "main_complaint", "read_versioned_toml"]


def read_versioned_toml(path: Path, *, what: str, version: int) -> tuple[dict[str, Any], bytes]:
    """Read a TOML file that states its ``schema_version``.

    Parameters
    ----------
    path : Path
    what : str
        What the file is, for the messages: "limit file".
    version : int
        Newest schema version that this software knows; also what a file that states none has.

    Returns
    -------
    tuple of dict and bytes
        The document, and the bytes it was read from.

    Raises
    ------
    BadInput
        Missing, not TOML, no proper schema version, or a newer one.
    """
    if not path.is_file():
        raise BadInput(f"no {what}", where=str(path), do="write one; 'seamtell init' shows an example")
    with storage_errors(path):
        data = path.read_bytes()
    try:
        document = tomllib.loads(data.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise BadInput(
            f"not readable as TOML: {problem}", where=str(path), do="mend the line named"
        ) from None
    stated = document.get("schema_version", version)
    if not isinstance(stated, int) or stated < 1:
        raise BadInput(
            f"schema_version {stated!r} is not a whole number from 1",
            where=str(path),
            do=f"write schema_version = {version}",
        )
    if stated > version:
        raise BadInput(
            f"the {what} has schema version {stated}, this seamtell knows {version}",
            where=str(path),
            do="install a newer seamtell; nothing was changed",
        )
    return document, data


def main_complaint(problem: ValidationError) -> ErrorDetails:
    """The complaint to show: a key that nobody knows, if any, since it may be a missing one misspelt."""
    complaints = problem.errors()
    return next((one for one in complaints if one["type"] == "extra_forbidden"), complaints[0])


def first_complaint(problem: ValidationError) -> str:
    """Name one wrong key and what is wrong with it."""
    first = main_complaint(problem)
    key = ".".join(str(part) for part in first["loc"])
    return f"key '{key}': {complaint_text(first)}" if key else complaint_text(first)


def complaint_text(complaint: ErrorDetails) -> str:
    """What is wrong with one key, in plain words."""
    plain = {"extra_forbidden": "there is no such key", "missing": "is missing"}
    return plain.get(complaint["type"], complaint["msg"].removeprefix("Value error, "))

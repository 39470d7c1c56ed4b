"""Reading one of our own TOML files: text, schema version and keys, with one line for each fault."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors

__all__ = ["first_complaint", "read_versioned_toml"]


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
        Missing, not TOML, or of a newer schema version.
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
    if isinstance(stated, int) and stated > version:
        raise BadInput(
            f"the {what} has schema version {stated}, this seamtell knows {version}",
            where=str(path),
            do="install a newer seamtell; nothing was changed",
        )
    return document, data


def first_complaint(problem: ValidationError) -> str:
    """Name the first wrong key and what is wrong with it."""
    first = problem.errors()[0]
    key = ".".join(str(part) for part in first["loc"])
    message = first["msg"].removeprefix("Value error, ")
    return f"key '{key}': {message}" if key else message

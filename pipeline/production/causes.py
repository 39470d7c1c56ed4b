"""Hints at likely process causes, from the workspace's ``causes.toml``: never findings."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.features.contracts import Flaw
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml

__all__ = ["CAUSES_SCHEMA_VERSION", "HINTS_ONLY", "CauseHint", "read_causes"]

CAUSES_SCHEMA_VERSION = 1

HINTS_ONLY = (
    "hints from trade knowledge, not findings: nothing here was measured, "
    "and a cause is proven at the line only"
)

_Pattern = Literal[
    "always",
    "repeats at one position",
    "near the ends",
    "one coil",
    "one line",
    "one shift",
    "since a date",
    "one recipe",
]


class CauseHint(BaseModel):
    """One hint."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    flaw: Flaw
    cause: str = Field(min_length=1)
    look: str = Field(min_length=1)
    when: _Pattern = "always"
    """Pattern that speaks for it."""
    source: str = Field(min_length=1)


class _Document(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = CAUSES_SCHEMA_VERSION
    hint: tuple[CauseHint, ...] = ()


def read_causes(path: Path) -> tuple[CauseHint, ...]:
    """Read the hints; those delivered where the workspace has no such file.

    Raises
    ------
    BadInput
        Not TOML, or a key that is wrong.
    """
    if not path.is_file():
        path = Path(str(files("seamtell.pipeline").joinpath("defaults/causes.toml")))
    document, _ = read_versioned_toml(path, what="file of causes", version=CAUSES_SCHEMA_VERSION)
    try:
        return _Document.model_validate(document).hint
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=str(path), do="mend the key named") from None

"""The file of a reference blank: a welded blank of known sheets with flaws that were machined into it.

One file serves two readers: the theory takes the geometry, the reference check the
amplitudes at which each flaw is expected to come back.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.validity import check_flaw, check_joint
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.physics_file import Physics
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml

__all__ = [
    "BLANK_SCHEMA_VERSION",
    "Blank",
    "BlankDocument",
    "FlawTable",
    "MachinedFlaw",
    "flaw_name",
    "read_blank",
    "read_blank_document",
]

BLANK_SCHEMA_VERSION = 1
_LEAST_FLAWS = 2
"""One flaw cannot tell a gain from a beam width from a badly cut flaw."""
_LEAST_GAP_MM = 20.0
"""Two beam widths: nearer, the echo of one flaw lies on the next."""


class _Kind(StrEnum):
    HOLE = "hole"
    NOTCH = "notch"


class FlawTable(BaseModel):
    """One machined flaw as the file states it."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    type: _Kind
    position_mm: float
    side: Side = Side.THROUGH
    diameter_mm: float | None = None
    depth_mm: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    expected_pct: dict[Channel, float] = Field(default_factory=dict)
    """Peak in % FSH at which the reference check expects the flaw, by channel."""


class BlankDocument(BaseModel):
    """The file as it stands, checked for its keys only."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    schema_version: int = BLANK_SCHEMA_VERSION
    name: str
    length_mm: float = Field(gt=0)
    position_tolerance_mm: float = Field(default=2.0, gt=0, le=5)
    recipe: str | None = None
    sheet_a_mm: float | None = None
    sheet_b_mm: float | None = None
    ramp_mm: float | None = None
    flaw: tuple[FlawTable, ...] = ()


@dataclass(frozen=True)
class MachinedFlaw:
    """One machined flaw, its position counted from the start of the blank."""

    name: str
    geometry: Hole | Slot


@dataclass(frozen=True)
class Blank:
    """A reference blank.

    Parameters
    ----------
    name : str
    digest : str
        SHA-256 of the bytes of its file.
    length_mm : float
    tolerance_mm : float
        How far a run may lie beside the blank's own positions.
    flaws : tuple of MachinedFlaw
        In order of position, none in the reach of another.
    """

    path: Path
    name: str
    digest: str
    joint: Joint
    length_mm: float
    tolerance_mm: float
    flaws: tuple[MachinedFlaw, ...]

    def check_range(self, head: Head) -> None:
        """Refuse a blank that the theory cannot answer for under this head.

        Raises
        ------
        BadInput
            Names the flaw and the limit.
        """
        try:
            check_joint(self.joint, head)
        except SeamtellError as problem:
            raise BadInput(problem.what, where=str(self.path), do=problem.do) from None
        for flaw in self.flaws:
            try:
                check_flaw(flaw.geometry, self.joint, head)
            except SeamtellError as problem:
                raise BadInput(f"{flaw.name}: {problem.what}", where=str(self.path), do=problem.do) from None


def read_blank_document(path: Path) -> tuple[BlankDocument, str]:
    """Read the file, and the SHA-256 of its bytes.

    Raises
    ------
    BadInput
        Missing, not TOML, or a wrong key.
    """
    document, data = read_versioned_toml(path, what="file of a reference blank", version=BLANK_SCHEMA_VERSION)
    try:
        return BlankDocument.model_validate(document), hashlib.sha256(data).hexdigest()
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=str(path), do="mend the key named") from None


def flaw_name(table: FlawTable) -> str:
    """Name a machined flaw by its kind, size and place."""
    if table.type is _Kind.HOLE:
        return f"hole {table.diameter_mm or 0.0:g} mm at {table.position_mm:g} mm"
    return f"notch {table.length_mm or 0.0:g} x {table.depth_mm or 0.0:g} mm at {table.position_mm:g} mm"


def read_blank(path: Path, physics: Physics) -> Blank:
    """Read the file of a reference blank; sheets that it leaves out are those of its recipe.

    Raises
    ------
    BadInput
        Missing, not TOML, a wrong key, fewer than two flaws, flaws too near to each other or to an end.
    """
    blank, digest = read_blank_document(path)
    tables = sorted(blank.flaw, key=lambda table: table.position_mm)
    flaws = tuple(_flaw(table, path) for table in tables)
    _check_places(flaws, blank.length_mm, path)
    joint = _joint(blank, physics, path)
    return Blank(path, blank.name, digest, joint, blank.length_mm, blank.position_tolerance_mm, flaws)


def _joint(blank: BlankDocument, physics: Physics, path: Path) -> Joint:
    stated = (blank.sheet_a_mm, blank.sheet_b_mm, blank.ramp_mm)
    if blank.recipe is not None:
        if any(value is not None for value in stated):
            raise BadInput(
                "states a recipe and sheets as well", where=str(path), do="leave one of the two out"
            )
        return physics.joint_for(blank.recipe)
    if blank.sheet_a_mm is None or blank.sheet_b_mm is None or blank.ramp_mm is None:
        raise BadInput(
            "says nothing of its sheets",
            where=str(path),
            do="state recipe, or sheet_a_mm, sheet_b_mm and ramp_mm",
        )
    try:
        return Joint(blank.sheet_a_mm, blank.sheet_b_mm, blank.ramp_mm)
    except SeamtellError as problem:
        raise BadInput(problem.what, where=str(path), do="mend the value") from None


def _flaw(table: FlawTable, path: Path) -> MachinedFlaw:
    needed = ("diameter_mm",) if table.type is _Kind.HOLE else ("length_mm", "depth_mm", "width_mm")
    possible = {*needed, "depth_mm"}
    where = f"{table.type.value} at {table.position_mm:g} mm"
    for key in ("diameter_mm", "depth_mm", "length_mm", "width_mm"):
        if key in needed and getattr(table, key) is None:
            raise BadInput(f"{where}: '{key}' is missing", where=str(path), do="add the key named")
        if key not in possible and getattr(table, key) is not None:
            raise BadInput(f"{where} takes no '{key}'", where=str(path), do="remove the key named")
    if table.type is _Kind.NOTCH and table.side not in (Side.TOP, Side.BOTTOM):
        raise BadInput(f"{where}: side is missing", where=str(path), do='state side = "top" or "bottom"')
    if table.type is _Kind.HOLE and table.side is not Side.THROUGH and table.depth_mm is None:
        raise BadInput(f"{where}: a blind hole needs 'depth_mm'", where=str(path), do="add the key named")
    try:
        return _made(table)
    except SeamtellError as problem:
        raise BadInput(f"{where}: {problem.what}", where=str(path), do="mend the value") from None


def _made(table: FlawTable) -> MachinedFlaw:
    x = table.position_mm
    if table.type is _Kind.HOLE:
        diameter = table.diameter_mm or 0.0
        return MachinedFlaw(flaw_name(table), Hole(x, diameter, table.side, table.depth_mm or 0.0))
    length, depth, width = table.length_mm or 0.0, table.depth_mm or 0.0, table.width_mm or 0.0
    return MachinedFlaw(flaw_name(table), Slot.even(x, length, depth, width, table.side))


def _check_places(flaws: Sequence[MachinedFlaw], length_mm: float, path: Path) -> None:
    if len(flaws) < _LEAST_FLAWS:
        raise BadInput(
            f"{len(flaws)} machined flaws, at least {_LEAST_FLAWS} are needed",
            where=str(path),
            do="one flaw cannot tell gain from beam width: add [[flaw]] tables",
        )
    free = MachinedFlaw("the start", Hole(-1.0, 2.0)), MachinedFlaw("the end", Hole(length_mm + 1.0, 2.0))
    for one, other in itertools.pairwise((free[0], *flaws, free[1])):
        gap = other.geometry.extent_mm[0] - one.geometry.extent_mm[1]
        if gap < _LEAST_GAP_MM:
            raise BadInput(
                f"{one.name} and {other.name} are {gap:.1f} mm apart, expected {_LEAST_GAP_MM:g} mm or more",
                where=str(path),
                do="leave one of them out; echoes of neighbours run into each other",
            )

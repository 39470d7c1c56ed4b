"""The physics file ``physics.toml``: heads, sheets and expected flaws, as the theory needs them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.material import STEEL, Material
from seamtell.data_synth.validity import check_head, check_joint
from seamtell.features.contracts import SeamTrace
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.expected_tables import read_expected
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml

__all__ = ["DEFAULT_HEAD", "PHYSICS_SCHEMA_VERSION", "THICKNESS_TOLERANCE_MM", "Physics", "read_physics"]

PHYSICS_SCHEMA_VERSION = 1
DEFAULT_HEAD = "default"
"""Name of the head table that serves every line without one of its own."""
THICKNESS_TOLERANCE_MM = 0.05
"""A sheet may differ by this much from the file's: rolling tolerances of cold strip (from memory)."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _MaterialTable(_Table):
    c_longitudinal_mm_per_us: float = Field(gt=0)
    c_shear_mm_per_us: float = Field(gt=0)


class _HeadTable(_Table):
    frequency_mhz: float
    aperture_sd_mm: float
    stand_off_mm: float
    scatter_tilt_sin: float
    burst_cycles: float = 4.5
    gate_us: tuple[float, float] = (-3.0, 4.0)


class _RecipeTable(_Table):
    sheet_a_mm: float
    sheet_b_mm: float
    ramp_mm: float


class _PhysicsDocument(_Table):
    schema_version: int = PHYSICS_SCHEMA_VERSION
    material: _MaterialTable | None = None
    head: dict[str, _HeadTable] = Field(default_factory=dict)
    recipe: dict[str, _RecipeTable] = Field(default_factory=dict)
    expected: dict[str, object] = Field(default_factory=dict)


@dataclass(frozen=True)
class Physics:
    """What the physics file says, checked against the theory's range.

    Parameters
    ----------
    path : Path
    digest : str
        SHA-256 of the bytes of the file.
    heads : mapping of str to Head
        By line; ``default`` serves the lines that are not named.
    joints : mapping of str to Joint
        By recipe.
    flaw_ranges : FlawRanges
        What is expected in a seam.
    """

    path: Path
    digest: str
    heads: Mapping[str, Head]
    joints: Mapping[str, Joint]
    flaw_ranges: FlawRanges

    def head_for(self, line: str) -> Head:
        """Head of a line, as the file states it.

        Raises
        ------
        BadInput
            Neither the line nor ``default`` has a table.
        """
        found = self.heads.get(line, self.heads.get(DEFAULT_HEAD))
        if found is None:
            raise BadInput(
                f"no head for line '{line}'",
                where=str(self.path),
                do=f'add a table [head."{line}"], or [head.{DEFAULT_HEAD}] for every line',
            )
        return found

    def joint_for(self, recipe: str) -> Joint:
        """Joint of a recipe.

        Raises
        ------
        BadInput
            The recipe has no table.
        """
        found = self.joints.get(recipe)
        if found is None:
            raise BadInput(
                f"no sheets for recipe '{recipe}'",
                where=str(self.path),
                do=f'add a table [recipe."{recipe}"] with sheet_a_mm, sheet_b_mm and ramp_mm',
            )
        return found

    def check_agrees(self, trace: SeamTrace) -> None:
        """Refuse a trace whose sheets are not those of its recipe; unknown thicknesses pass.

        Raises
        ------
        BadInput
            A sheet differs by more than 0.05 mm, or the recipe has no table.
        """
        joint = self.joint_for(trace.recipe)
        for sheet, stated, measured in (
            ("A", joint.sheet_a_mm, trace.thickness_a_mm),
            ("B", joint.sheet_b_mm, trace.thickness_b_mm),
        ):
            if isfinite(measured) and abs(measured - stated) > THICKNESS_TOLERANCE_MM:
                raise BadInput(
                    f"seam {trace.seam_id}: sheet {sheet} is {measured:g} mm, "
                    f"the recipe '{trace.recipe}' says {stated:g} mm",
                    where=str(self.path),
                    do="mend the recipe's table, or the metadata of the trace; sheet A is the head's side",
                )


def read_physics(path: Path) -> Physics:
    """Read and check the physics file.

    Raises
    ------
    BadInput
        Missing, not TOML, an unknown key, or a head or joint outside the theory's range.
    """
    if not path.is_file():
        raise BadInput(
            "no physics.toml: heads and sheets are not known",
            where=str(path.parent),
            do="run 'seamtell physics template > physics.toml' there and fill it in",
        )
    document, data = read_versioned_toml(path, what="physics file", version=PHYSICS_SCHEMA_VERSION)
    try:
        tables = _PhysicsDocument.model_validate(document)
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=str(path), do="mend the key named") from None
    steel = _material(tables.material, path)
    heads = {line: _head(line, table, steel, path) for line, table in tables.head.items()}
    joints = {recipe: _joint(recipe, table, path) for recipe, table in tables.recipe.items()}
    for line, head in heads.items():
        for recipe, joint in joints.items():
            _check_pair(line, head, recipe, joint, path)
    ranges = read_expected(tables.expected, where=str(path))
    return Physics(path, hashlib.sha256(data).hexdigest(), heads, joints, ranges)


def _material(table: _MaterialTable | None, path: Path) -> Material:
    if table is None:
        return STEEL
    material = Material(table.c_longitudinal_mm_per_us, table.c_shear_mm_per_us)
    if not material.c_longitudinal_mm_per_us > material.c_shear_mm_per_us * 2**0.5:
        raise BadInput(
            f"[material]: speeds {material.c_longitudinal_mm_per_us:g} and {material.c_shear_mm_per_us:g} "
            "mm/us, expected the longitudinal one above 1.414 times the shear one (Poisson's ratio above 0)",
            where=str(path),
            do="mend c_longitudinal_mm_per_us or c_shear_mm_per_us",
        )
    return material


def _head(line: str, table: _HeadTable, material: Material, path: Path) -> Head:
    head = Head(**table.model_dump(), material=material)
    try:
        check_head(head)
    except SeamtellError as problem:
        raise BadInput(f'[head."{line}"]: {problem.what}', where=str(path), do=problem.do) from None
    return head


def _joint(recipe: str, table: _RecipeTable, path: Path) -> Joint:
    try:
        return Joint(table.sheet_a_mm, table.sheet_b_mm, table.ramp_mm)
    except SeamtellError as problem:
        raise BadInput(f'[recipe."{recipe}"]: {problem.what}', where=str(path), do="mend the value") from None


def _check_pair(line: str, head: Head, recipe: str, joint: Joint, path: Path) -> None:
    try:
        check_joint(joint, head)
    except SeamtellError as problem:
        raise BadInput(
            f'[recipe."{recipe}"] under [head."{line}"]: {problem.what}', where=str(path), do=problem.do
        ) from None

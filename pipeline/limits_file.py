"""The limit file ``limits.toml``: what the approved procedure states for each recipe."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.features.contracts import CHANNELS, RecipeLimits
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml

__all__ = ["LIMITS_SCHEMA_VERSION", "Limits", "read_limits"]

LIMITS_SCHEMA_VERSION = 1


class _RecipeTable(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    limit_pct: dict[str, float]
    dead_zone_start_mm: float = Field(ge=0)
    dead_zone_end_mm: float = Field(ge=0)
    beam_width_mm: float = Field(gt=0)


class _LimitsDocument(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = LIMITS_SCHEMA_VERSION
    recipe: dict[str, _RecipeTable] = Field(default_factory=dict)


@dataclass(frozen=True)
class Limits:
    """The limits of every recipe, and the digest of the file they came from.

    Parameters
    ----------
    path : Path
    digest : str
        SHA-256 of the bytes of the file.
    by_recipe : mapping of str to RecipeLimits
    """

    path: Path
    digest: str
    by_recipe: Mapping[str, RecipeLimits]

    @property
    def recipes(self) -> tuple[str, ...]:
        """Names of the recipes, sorted."""
        return tuple(sorted(self.by_recipe))

    def get(self, recipe: str) -> RecipeLimits | None:
        """Limits of `recipe`, or None when the file does not name it."""
        return self.by_recipe.get(recipe)

    def for_recipe(self, recipe: str) -> RecipeLimits:
        """Limits of `recipe`.

        Raises
        ------
        BadInput
            The file does not name it.
        """
        found = self.by_recipe.get(recipe)
        if found is None:
            raise BadInput(
                f"no limits for recipe '{recipe}'",
                where=str(self.path),
                do=f'add a table [recipe."{recipe}"] with the limits of the approved procedure',
            )
        return found


def read_limits(path: Path) -> Limits:
    """Read and check the limit file.

    Raises
    ------
    BadInput
        Missing, not TOML, an unknown key, a missing channel, or a value out of range.
    """
    document, data = read_versioned_toml(path, what="limit file", version=LIMITS_SCHEMA_VERSION)
    try:
        tables = _LimitsDocument.model_validate(document).recipe
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=str(path), do="mend the key named") from None
    by_recipe = {name: _checked(name, table, path) for name, table in tables.items()}
    return Limits(path=path, digest=hashlib.sha256(data).hexdigest(), by_recipe=by_recipe)


def _checked(name: str, table: _RecipeTable, path: Path) -> RecipeLimits:
    """Check what the types alone do not say: every channel there, each limit within the screen."""
    for channel in CHANNELS:
        if channel not in table.limit_pct:
            raise BadInput(
                f"recipe '{name}' has no limit for channel '{channel}'",
                where=str(path),
                do=f"add {channel} to limit_pct of this recipe",
            )
    for channel, limit in table.limit_pct.items():
        if not 0 < limit <= 100:
            raise BadInput(
                f"recipe '{name}', channel '{channel}': limit {limit:g} is not within 0 to 100 % FSH",
                where=str(path),
                do="state the limit in % of full screen height",
            )
    return RecipeLimits(
        recipe=name,
        limit_pct=dict(table.limit_pct),
        dead_zone_start_mm=table.dead_zone_start_mm,
        dead_zone_end_mm=table.dead_zone_end_mm,
        beam_width_mm=table.beam_width_mm,
    )

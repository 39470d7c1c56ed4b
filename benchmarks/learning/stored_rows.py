"""The rows of all experiments, made once and kept in a scratch folder."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from learning.cells import Setup
from learning.physics_rows import PHYSICS, PhysicsPart, physics_rows
from learning.rows import Rows, joined, load_rows, save_rows
from learning.shop_rows import ShopPart, shop_rows
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.descriptors.registry import schema_digest

__all__ = ["Stored", "prepare", "read_stored", "setup_digest"]

_PARTS = 8


@dataclass(frozen=True, eq=False)
class Stored:
    """Everything that cells read.

    Parameters
    ----------
    pool, test : Rows
        Of the shop; other seams, other coils.
    physics : mapping of str to Rows
        By the name of the variant.
    """

    pool: Rows
    test: Rows
    physics: Mapping[str, Rows]


def setup_digest(setup: Setup, plan: ShopPlan) -> str:
    """Short digest of what decides the rows: setup, shop, theory, descriptors, variants."""
    text = repr((setup, plan, THEORY_VERSION, schema_digest(), sorted(PHYSICS.items())))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def prepare(
    setup: Setup,
    plan: ShopPlan,
    folder: Path,
    variants: tuple[str, ...],
    pool: ProcessPoolExecutor,
    told: Callable[[str], None],
) -> Stored:
    """Make what `folder` lacks and read all of it."""
    folder.mkdir(parents=True, exist_ok=True)
    seed = setup.seed * 10
    for name, number, seams in (("pool", 0, setup.pool_seams), ("test", 1, setup.test_seams)):
        shop_jobs = [ShopPart(plan, seed + number, seams, part, _PARTS) for part in range(_PARTS)]
        _make(folder / f"{name}.npz", lambda jobs=shop_jobs: pool.map(shop_rows, jobs), told)
    for name in variants:
        jobs = [
            PhysicsPart(plan, PHYSICS[name], seed + 2, setup.physics_per_class, part, _PARTS)
            for part in range(_PARTS)
        ]
        _make(_physics_path(folder, name), lambda jobs=jobs: pool.map(physics_rows, jobs), told)
    return read_stored(folder, variants)


def read_stored(folder: Path, variants: tuple[str, ...]) -> Stored:
    """Read what `prepare` made."""
    return Stored(
        load_rows(folder / "pool.npz"),
        load_rows(folder / "test.npz"),
        {name: load_rows(_physics_path(folder, name)) for name in variants},
    )


def _physics_path(folder: Path, name: str) -> Path:
    return folder / f"physics-{list(PHYSICS).index(name)}.npz"


def _make(path: Path, make: Callable[[], Iterable[Rows]], told: Callable[[str], None]) -> None:
    if not path.is_file():
        rows = joined(list(make()))
        save_rows(path, rows)
        told(f"{path.name}: {len(rows)} rows made")

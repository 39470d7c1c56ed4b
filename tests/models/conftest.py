from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from sklearn.datasets import load_breast_cancer, load_wine

from seamtell.models.hand_rule import RATIO_DESCRIPTOR, WIDTH_DESCRIPTOR
from seamtell.models.simulated_table import SimulatedTable
from seamtell.models.training import LabelledTable, TrainingPlan, TrainingResult, train_flaw_model

SCHEMA = "schema-of-the-tests"
NAMES = (RATIO_DESCRIPTOR, WIDTH_DESCRIPTOR, "flatness", "roughness", "lag")
CENTRES = {
    "pinhole": (-5.0, 1.0, 0.2, 0.1, 0.0),
    "edge_notch": (4.0, 1.1, 0.3, 0.1, 0.3),
    "lack_of_fusion": (12.0, 3.0, 0.6, 0.5, 0.9),
    "mismatch": (15.0, 5.0, 0.8, 0.2, 0.9),
    "sound": (0.0, 2.0, 0.3, 0.9, 0.5),
}
SPREAD = (2.5, 0.4, 0.15, 0.2, 0.2)


def make_shop(
    counts: dict[str, int], *, seed: int = 3, per_coil: int = 2, sizes: bool = True
) -> LabelledTable:
    """Sections of an invented shop: overlapping normal clouds, two sections a coil."""
    rng = np.random.default_rng(seed)
    truths = np.repeat(list(counts), list(counts.values()))
    rng.shuffle(truths)
    n = len(truths)
    values = np.array([CENTRES[t] for t in truths.tolist()]) + rng.normal(size=(n, 5)) * SPREAD
    length_mm = 2.0 + 4.0 * values[:, 1] + rng.normal(size=n)
    return LabelledTable(
        section_ids=tuple(f"S{i:04d}" for i in range(n)),
        values=values,
        names=NAMES,
        truths=truths,
        groups=np.array([f"coil-{i // per_coil:03d}" for i in range(n)]),
        times=np.datetime64("2026-01-01") + np.arange(n).astype("timedelta64[D]"),
        recipes=np.where(np.arange(n) % 3 == 0, "R1", "R2"),
        schema_digest=SCHEMA,
        sizes_mm=np.where(truths == "sound", np.nan, length_mm) if sizes else None,
    )


def make_simulated(
    per_class: int,
    *,
    seed: int = 11,
    swapped: bool = False,
    without: tuple[str, ...] = (),
    coils: int = 0,
    origin: str = "simulated",
) -> SimulatedTable:
    """Simulated flaws of the invented shop; `swapped` physics takes every flaw for the next one.

    With `coils`, the flaws sit in that many coils of the shop, else each in a seam of its own.
    """
    rng = np.random.default_rng(seed)
    labels = [label for label in CENTRES if label not in without]
    truths = np.repeat(labels, per_class)
    n = len(truths)
    centres = dict(zip(CENTRES, [*list(CENTRES.values())[1:], CENTRES["pinhole"]], strict=True))
    centres = centres if swapped else CENTRES
    hosts = rng.integers(0, coils, n) if coils else np.arange(n)
    return SimulatedTable(
        values=np.array([centres[t] for t in truths.tolist()]) + rng.normal(size=(n, 5)) * SPREAD,
        names=NAMES,
        truths=truths,
        groups=np.array([f"coil-{h:03d}" if coils else f"host-{h:05d}" for h in hosts]),
        recipes=np.full(n, "R1"),
        sizes_mm=np.where(truths == "sound", np.nan, rng.uniform(2, 20, n)),
        schema_digest=SCHEMA,
        origin=origin,
        theory_version="1",
        physics_digest="digest of the physics file",
    )


def make_public(name: str) -> LabelledTable:
    """A data set that scikit-learn carries, as a labelled table."""
    data = {"wine": load_wine, "breast_cancer": load_breast_cancer}[name]()
    order = np.random.default_rng(0).permutation(len(data.target))[:240]
    n = len(order)
    return LabelledTable(
        section_ids=tuple(f"S{i}" for i in range(n)),
        values=data.data[order],
        names=tuple(f"d{i}" for i in range(data.data.shape[1])),
        truths=np.array([str(data.target_names[c]) for c in data.target[order]]),
        groups=np.array([f"g{i // 3}" for i in range(n)]),
        times=np.datetime64("2026-01-01") + np.arange(n).astype("timedelta64[h]"),
        recipes=np.full(n, "R1"),
        schema_digest=SCHEMA,
    )


@pytest.fixture(scope="session")
def shop_table() -> LabelledTable:
    counts = {"pinhole": 40, "edge_notch": 40, "lack_of_fusion": 35, "mismatch": 20, "sound": 25}
    return make_shop(counts)


@pytest.fixture(scope="session")
def shop_result(shop_table: LabelledTable) -> TrainingResult:
    return train_flaw_model(shop_table, TrainingPlan(folds=3))


@pytest.fixture(scope="session")
def shop() -> Callable[..., LabelledTable]:
    return make_shop


@pytest.fixture(scope="session", params=["wine", "breast_cancer"])
def public_table(request: pytest.FixtureRequest) -> LabelledTable:
    return make_public(request.param)


@pytest.fixture(scope="session")
def quick_plan() -> TrainingPlan:
    return TrainingPlan(candidates=("prior", "hand_rule"), folds=3)


@pytest.fixture(scope="session")
def simulate() -> Callable[..., SimulatedTable]:
    return make_simulated

"""The campaigns of cuts: their arithmetic, and in small what they show of a class that is thin."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from seamtell.features.descriptors.registry import model_names

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"
SHARES = {"pinhole": 0.06, "edge_notch": 0.2, "lack_of_fusion": 0.2, "mismatch": 0.2, "sound": 0.34}


@pytest.fixture(scope="module")
def cutting() -> dict[str, ModuleType]:
    """The modules of the campaigns, which are scripts and no part of the package."""
    sys.path.insert(0, str(BENCHMARKS))
    from cutting import campaign, passing, population, written

    sys.path.remove(str(BENCHMARKS))
    return {m.__name__.split(".")[1]: m for m in (campaign, passing, population, written)}


def bumps(cutting: dict[str, ModuleType], n: int, seed: int):
    """Indications with Gaussian descriptors, one class of them rare: no physics in it."""
    rng = np.random.default_rng(seed)
    names = list(SHARES)
    kind = rng.choice(len(names), size=n, p=list(SHARES.values()))
    values = rng.normal(size=(n, len(model_names())))
    values[:, : len(names)] += 2.5 * np.eye(len(names))[kind]
    start = rng.uniform(30, 300, n)
    rows = pd.DataFrame(
        {
            "section_id": [f"X{i:05d}" for i in range(n)],
            "seam_id": [f"S{i:05d}" for i in range(n)],
            "indication": pd.array(np.zeros(n, dtype=int), dtype="Int64"),
            "matched": True,
            "distance_mm": 0.0,
            "shared_with": pd.array([pd.NA] * n, dtype="Int64"),
            "position_mm": start + 5,
            "tolerance_mm": 3.0,
            "purpose": "targeted",
            "truth": np.array(names)[kind],
            "group": [f"coil:{i // 4}" for i in range(n)],
            "coil": [f"{i // 4}" for i in range(n)],
            "line": [f"L{i % 2}" for i in range(n)],
            "recipe": "R1",
            "welded_at": pd.Timestamp("2026-01-01", tz="UTC") + pd.to_timedelta(np.arange(n), unit="h"),
            "start_mm": start,
            "end_mm": start + 10,
            "peak_mm": start + 5,
            "exceeds_limit": True,
            "left_out": "",
            "flaw_length_mm": np.where(kind == 4, np.nan, 5.0),
        }
    )
    return cutting["population"].Population(rows, values, seams_mm=n * 1000.0)


def test_what_is_saved_is_one_less_the_ratio_of_the_sums(cutting: dict[str, ModuleType]) -> None:
    saved = cutting["written"].saved_share([60, 80, 100], [100, 120, 80], [0, 0, 1])
    assert saved["estimate"] == pytest.approx(1 - 240 / 300)
    # Shops are drawn as wholes: the extremes are the ratios of the single shops.
    assert (saved["low"], saved["high"]) == pytest.approx((1 - 100 / 80, 1 - 140 / 220))


def spent_and_thin(cutting: dict[str, ModuleType], most: int, campaigns: int) -> dict[str, np.ndarray]:
    """Sections cut, and those of the thin class among them, of each campaign; shape (campaigns, 2)."""
    campaign = cutting["campaign"]
    criteria, setup = cutting["passing"].own_criteria(), campaign.Setup(first=90, most=most, seen=300)
    rows: dict[str, list[tuple[int, int]]] = {"planned": [], "random": []}
    for seed in range(campaigns):
        population = bumps(cutting, 1500, seed)
        for name, of_arm in rows.items():
            ended = campaign.run_campaign(population, campaign.Arm(name), seed, criteria, setup)
            of_arm.append((ended.sections, ended.by_class["pinhole"]))
    return {name: np.array(of_arm) for name, of_arm in rows.items()}


@pytest.mark.coverage
def test_of_as_many_sections_planned_ones_hold_more_of_the_class_that_is_thin(
    cutting: dict[str, ModuleType],
) -> None:
    found = spent_and_thin(cutting, most=210, campaigns=10 if FULL else 2)
    assert (found["planned"][:, 0] <= 210).all()
    assert found["planned"][:, 1].sum() > 1.3 * found["random"][:, 1].sum()


@pytest.mark.coverage
@pytest.mark.skipif(not FULL, reason="twenty campaigns to the end: SEAMTELL_COVERAGE=full")
def test_where_one_class_is_thin_planned_campaigns_pass_with_fewer_sections(
    cutting: dict[str, ModuleType],
) -> None:
    found = spent_and_thin(cutting, most=600, campaigns=20)
    assert found["planned"][:, 0].mean() < 0.9 * found["random"][:, 0].mean()

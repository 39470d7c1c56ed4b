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
from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.worth import worth_of

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


@pytest.mark.coverage
def test_a_plan_is_expected_to_hold_more_of_a_thin_class_than_random_cuts_and_fewer_sound_ones(
    cutting: dict[str, ModuleType],
) -> None:
    """Expected by the plan's own probabilities, whose sum over a class needs no draw."""
    campaign, criteria = cutting["campaign"], cutting["passing"].own_criteria()
    planned, random = np.zeros(2), np.zeros(2)
    for seed in range(10 if FULL else 1):
        population = bumps(cutting, 1200, seed)
        cut = campaign.first_cuts(population, seed, 300)
        now = cutting["passing"].standing(population, cut, criteria)
        free = np.setdiff1d(np.arange(len(population)), cut)[:500]
        worth = worth_of(
            campaign.ask_of(population, free, now), campaign.known_of(population, cut, now)
        ).total
        rng = np.random.default_rng(seed)
        probabilities = choose_indications(population.looks(free), worth, 30, rng).probabilities
        is_class = np.array([population.truths[free] == label for label in ("pinhole", "sound")])
        planned += is_class @ probabilities
        random += 30 * is_class.mean(axis=1)
    assert planned[0] > 1.5 * random[0]
    assert planned[1] < random[1]

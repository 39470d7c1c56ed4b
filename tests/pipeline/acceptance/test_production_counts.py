"""Counting places and kinds, against counting millimetre by millimetre."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seamtell.pipeline.acceptance.production_counts import (
    ABOVE_LIMIT,
    BELOW_LIMIT,
    UNFLAGGED,
    cuts_of,
    place_length_mm,
    production_of,
    unflagged_length_mm,
)


def seams(*lengths_mm: float, start_mm: float = 0.0) -> pd.DataFrame:
    n = len(lengths_mm)
    return pd.DataFrame(
        {
            "seam_id": [f"S{i}" for i in range(n)],
            "start_mm": start_mm,
            "pitch_mm": 0.25,
            "n_samples": [int(length / 0.25) + 1 for length in lengths_mm],
        }
    )


def indications(*rows: tuple[str, float, float, bool]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["seam_id", "start_mm", "end_mm", "exceeds_limit"])
    return frame.assign(indication=frame.groupby("seam_id").cumcount())


@pytest.mark.parametrize("seed", range(4))
def test_the_unflagged_length_is_what_a_fine_grid_counts(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at = np.arange(0.005, 300, 0.01)
    rows, free_mm = [], 0.0
    for seam in ("S0", "S1", "S2"):
        starts = rng.uniform(0, 290, rng.integers(0, 8))
        found = [(seam, start, min(300.0, start + rng.uniform(0, 40)), True) for start in starts]
        taken = np.zeros(len(at), dtype=bool)
        for _, low, high, _ in found:
            taken |= (at >= low - 2.5) & (at <= high + 2.5)
        free_mm += 0.01 * (~taken).sum()
        rows += found
    assert unflagged_length_mm(seams(300, 300, 300), indications(*rows), 2.5) == pytest.approx(
        free_mm, abs=0.3
    )


def test_seams_that_start_elsewhere_than_at_zero_are_measured_from_there() -> None:
    found = indications(("S0", 50.0, 52.0, True))
    assert unflagged_length_mm(seams(100, start_mm=50.0), found, 3.0) == pytest.approx(95.0)


def test_production_counts_kinds_and_places_of_its_own_seams_only() -> None:
    found = indications(("S0", 10.0, 20.0, True), ("S0", 40.0, 40.0, False), ("S9", 1.0, 2.0, True))
    made = production_of(seams(100, 50), found, tolerance_mm=1.0, place_mm=2.0)
    assert made.indications == {ABOVE_LIMIT: 1, BELOW_LIMIT: 1}
    assert made.unflagged_places == pytest.approx((150 - 12 - 2) / 2)


def test_production_without_any_indication_is_all_unflagged() -> None:
    made = production_of(seams(100), indications(), tolerance_mm=1.0, place_mm=4.0)
    assert made.indications == {ABOVE_LIMIT: 0, BELOW_LIMIT: 0}
    assert made.unflagged_places == 25.0


def test_judged_sections_become_cuts_with_the_kind_of_their_indication() -> None:
    frame = pd.DataFrame(
        {
            "section_id": ["a", "b", "c", "d", "e"],
            "seam_id": ["S0", "S0", "S1", "S1", "S2"],
            "indication": pd.array([0, 1, pd.NA, pd.NA, pd.NA], dtype="Int64"),
            "outcome": ["right", "abstained", "missed", "quiet", "shared"],
            "purpose": ["targeted", "random", "random", "planned", "random"],
            "truth": ["pinhole", "sound", "mismatch", "sound", "pinhole"],
            "group": ["k1", "k1", "k2", "k2", "k2"],
        }
    )
    found = indications(("S0", 1.0, 2.0, True), ("S0", 5.0, 6.0, False))
    sections = pd.DataFrame({"section_id": list("edcba"), "length_mm": [5.0, np.nan, 3.0, 2.0, 1.0]})
    cuts = cuts_of(frame, found, sections)
    assert cuts.truths.tolist() == ["pinhole", "sound", "mismatch", "sound"]
    assert cuts.kinds.tolist() == [ABOVE_LIMIT, BELOW_LIMIT, UNFLAGGED, UNFLAGGED]
    assert cuts.random.tolist() == [False, True, True, False]
    np.testing.assert_array_equal(cuts.length_mm, [1.0, 2.0, 3.0, np.nan])


def test_a_place_is_twice_the_tolerance_of_the_random_cuts_and_never_nothing() -> None:
    sections = pd.DataFrame(
        {"position_tol_mm": [9.0, 1.5, 2.0, 0.5], "purpose": ["targeted", "random", "random", "random"]}
    )
    assert place_length_mm(sections) == 3.0
    assert place_length_mm(sections.assign(position_tol_mm=0.0)) == 1.0
    assert place_length_mm(sections.iloc[:1]) == 1.0

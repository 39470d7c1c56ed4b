"""Matching of sections to indications against exhaustive search and cases worked by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.evaluation.matching import MATCH_COLUMNS, gap_mm, match_sections


def _sections(*rows: tuple[float, float, str], seam: str = "S1") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "section_id": [f"C{i}" for i in range(len(rows))],
            "seam_id": seam,
            "position_mm": [row[0] for row in rows],
            "position_tol_mm": [row[1] for row in rows],
            "flaw": [row[2] for row in rows],
            "purpose": "targeted",
        }
    )


def _indications(*extents: tuple[float, float], seam: str = "S1") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "seam_id": pd.Series([seam] * len(extents), dtype=object),
            "indication": pd.Series(range(len(extents)), dtype="int64"),
            "start_mm": pd.Series([low for low, _ in extents], dtype=float),
            "end_mm": pd.Series([high for _, high in extents], dtype=float),
            "peak_mm": pd.Series([(low + high) / 2 for low, high in extents], dtype=float),
        }
    )


def _seams(*names: str, coil: str = "K7") -> pd.DataFrame:
    times = pd.to_datetime(["2026-03-01T08:00:00Z"] * len(names), utc=True)
    return pd.DataFrame({"seam_id": list(names), "welded_at": times, "coil": coil, "recipe": "R1"})


def _match(sections: pd.DataFrame, indications: pd.DataFrame, extra_mm: float = 0.0) -> pd.DataFrame:
    return match_sections(sections, indications, extra_mm, seams=_seams("S1"))


EXTENTS = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 15)), max_size=4)
CUTS = st.lists(
    st.tuples(st.integers(0, 80), st.integers(0, 8), st.sampled_from(["pinhole", "sound"])),
    min_size=1,
    max_size=4,
)


@settings(max_examples=80, deadline=None)
@given(CUTS, EXTENTS)
def test_the_pairing_is_the_best_that_exhaustive_search_finds(cuts, extents) -> None:
    # Outside reference: every one-to-one pairing tried, most pairs first, then least total distance.
    sections = _sections(*((float(p), float(tol), flaw) for p, tol, flaw in cuts))
    indications = _indications(*((float(a), float(a + length)) for a, length in extents))
    gaps = gap_mm(
        sections["position_mm"].to_numpy(float),
        indications["start_mm"].to_numpy(float),
        indications["end_mm"].to_numpy(float),
    )
    best = (0, 0.0)
    choices = [None, *range(len(extents))]
    for pairing in itertools.product(choices, repeat=len(cuts)):
        taken = [(row, column) for row, column in enumerate(pairing) if column is not None]
        if len({column for _, column in taken}) < len(taken):
            continue
        if any(gaps[row, column] > cuts[row][1] for row, column in taken):
            continue
        best = min(best, (-len(taken), sum(gaps[pair] for pair in taken)))
    matched = _match(sections, indications)
    assert -int(matched["matched"].sum()) == best[0]
    assert matched["distance_mm"].sum() == pytest.approx(best[1])


@settings(max_examples=40, deadline=None)
@given(CUTS, EXTENTS)
def test_no_indication_is_given_twice_and_none_beyond_tolerance(cuts, extents) -> None:
    sections = _sections(*((float(p), float(tol), flaw) for p, tol, flaw in cuts))
    matched = _match(sections, _indications(*((float(a), float(a + length)) for a, length in extents)))
    pairs = matched[matched["matched"]]
    assert pairs["indication"].is_unique
    assert (pairs["distance_mm"] <= pairs["tolerance_mm"]).all()


def test_a_section_inside_the_extent_has_distance_zero() -> None:
    matched = _match(_sections((40.0, 0.5, "mismatch")), _indications((10.0, 90.0)))
    assert matched.loc[0, "distance_mm"] == 0.0
    assert matched.loc[0, "indication"] == 0


def test_the_gap_counts_to_the_nearer_end_and_the_extra_tolerance_is_added() -> None:
    sections, indications = _sections((13.0, 1.0, "pinhole")), _indications((4.0, 10.0))
    assert not _match(sections, indications, extra_mm=1.9).loc[0, "matched"]
    near = _match(sections, indications, extra_mm=2.0)
    assert near.loc[0, "matched"]
    assert near.loc[0, "distance_mm"] == pytest.approx(3.0)
    assert near.loc[0, "tolerance_mm"] == pytest.approx(3.0)


def test_one_more_pair_beats_any_distance() -> None:
    # Greedy by nearest would give the left indication to C0 and leave C1 alone.
    matched = _match(
        _sections((10.0, 6.0, "pinhole"), (4.0, 6.0, "pinhole")), _indications((9.0, 10.0), (15.0, 16.0))
    )
    assert matched["indication"].tolist() == [1, 0]


def test_the_second_section_of_one_indication_stays_alone_and_names_it() -> None:
    matched = _match(
        _sections((20.0, 1.0, "pinhole"), (25.0, 1.0, "edge_notch")), _indications((18.0, 22.0), (60.0, 70.0))
    )
    assert matched["matched"].tolist() == [True, False]
    both = _match(_sections((20.0, 1.0, "pinhole"), (21.0, 1.0, "edge_notch")), _indications((18.0, 22.0)))
    assert both["matched"].sum() == 1
    assert both.loc[~both["matched"], "shared_with"].tolist() == [0]


def test_a_flaw_goes_before_a_sound_section_at_the_same_distance() -> None:
    matched = _match(_sections((20.0, 1.0, "sound"), (21.9, 1.0, "pinhole")), _indications((18.0, 22.0)))
    assert matched["matched"].tolist() == [False, True]


def test_sections_only_meet_indications_of_their_own_seam() -> None:
    matched = match_sections(
        _sections((20.0, 1.0, "pinhole"), seam="S2"),
        _indications((18.0, 22.0), seam="S1"),
        0.0,
        seams=_seams("S1", "S2"),
    )
    assert not matched.loc[0, "matched"]
    assert pd.isna(matched.loc[0, "indication"])
    assert np.isnan(matched.loc[0, "distance_mm"])


def test_the_group_is_the_coil_or_the_seam_where_no_coil_is_known() -> None:
    sections = _sections((20.0, 1.0, "pinhole"))
    with_coil = match_sections(sections, _indications(), 0.0, seams=_seams("S1", coil="K7"))
    without = match_sections(sections, _indications(), 0.0, seams=_seams("S1", coil=""))
    assert with_coil.loc[0, "group"] == "coil:K7"
    assert without.loc[0, "group"] == "seam:S1"


def test_a_coil_and_a_seam_of_one_name_are_two_groups() -> None:
    seams = _seams("X", "Y")
    seams["coil"] = ["", "X"]
    sections = pd.concat([_sections((1.0, 1.0, "sound"), seam=name) for name in ("X", "Y")])
    sections["section_id"] = ["C0", "C1"]
    assert match_sections(sections, _indications(), 0.0, seams=seams)["group"].is_unique


def test_the_result_has_one_row_a_section_sorted_by_id_with_the_stated_columns() -> None:
    sections = _sections((20.0, 1.0, "pinhole"), (50.0, 1.0, "sound")).iloc[::-1]
    matched = _match(sections, _indications((18.0, 22.0)))
    assert tuple(matched.columns) == MATCH_COLUMNS
    assert matched["section_id"].tolist() == ["C0", "C1"]
    assert str(matched["welded_at"].dt.tz) == "UTC"


def test_row_order_of_the_indications_does_not_matter() -> None:
    sections = _sections((20.0, 1.0, "pinhole"), (62.0, 1.0, "sound"))
    indications = _indications((18.0, 22.0), (60.0, 70.0))
    pd.testing.assert_frame_equal(_match(sections, indications), _match(sections, indications.iloc[::-1]))

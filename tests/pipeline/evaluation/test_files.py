"""Files of an evaluation: safe to open, and the same for the same rows."""

from __future__ import annotations

import csv
import io

import pytest

from seamtell.pipeline.evaluation.files import sections_csv


@pytest.mark.parametrize("name", ["=HYPERLINK(1)", "+1", "-1", "@SUM(A1)", "\t=1"])
def test_no_cell_acts_as_a_formula(cut, answered, name: str) -> None:
    data = sections_csv(answered(cut("pinhole", "pinhole", seam_id=name, coil=name)).frame)
    (row,) = csv.DictReader(io.StringIO(data.decode("utf-8")))
    assert row["seam_id"].startswith("'")
    assert row["truth"] == "pinhole"


def test_quotes_commas_and_markup_stay_one_cell(cut, answered) -> None:
    name = 'a,"b"<script>'
    data = sections_csv(answered(cut("pinhole", "pinhole", seam_id=name)).frame)
    (row,) = csv.DictReader(io.StringIO(data.decode("utf-8")))
    assert row["seam_id"] == name


def test_times_are_utc_and_a_missing_indication_is_empty(cut, answered) -> None:
    data = sections_csv(answered(cut("pinhole")).frame)
    (row,) = csv.DictReader(io.StringIO(data.decode("utf-8")))
    assert row["welded_at"] == "2026-03-01T08:00:00Z"
    assert (row["indication"], row["distance_mm"], row["answer"]) == ("", "", "missed")

"""The sixteen scans of an independent full-wave simulation come in through an input profile."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

SCANS = Path(__file__).parents[2] / "data" / "fullwave" / "scans"

PROFILE = r"""
[file_name]
pattern = '^(?P<seam_id>.+)\.csv$'
[constants]
welded_at = "2026-01-05T08:00:00Z"
line = "simulated"
recipe = "R1"
thickness_a_mm = "1.5"
thickness_b_mm = "1.3"
[columns]
ignored = ["specular_re", "specular_im", "scatter_re", "scatter_im"]
others = "reject"
"""


def test_all_sixteen_scans_are_taken_in_without_a_warning(shop):
    shop.profile(PROFILE, "fullwave")
    report = shop.take(SCANS, profile="fullwave")
    assert (report.files, report.added, report.rows, report.notes) == (16, 16, (), ())
    assert set(shop.store.metadata()["seam_id"]) == {path.stem for path in SCANS.glob("*.csv")}


def test_what_the_store_holds_is_what_the_file_says(shop):
    shop.profile(PROFILE, "fullwave")
    shop.take(SCANS, profile="fullwave")
    path = SCANS / "notch_top_L4_d25.csv"
    # The standard library's reader is the reference.
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    trace = shop.store.get(path.stem)
    np.testing.assert_allclose(trace.positions_mm(), [float(row["position_mm"]) for row in rows], atol=1e-6)
    for channel in ("specular", "scatter"):
        wanted = np.array([float(row[channel]) for row in rows], dtype=np.float32)
        np.testing.assert_array_equal(trace.amplitudes_pct[channel], wanted)


def test_without_its_profile_a_scan_is_rejected_for_what_is_missing(shop):
    row = shop.reject((SCANS / "sound.csv").read_bytes(), "sound.csv")
    assert row.reason == "missing_metadata"

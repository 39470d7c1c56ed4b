"""Draw the sixteen full-wave scans, each with the indications found on it, as one page.

``python benchmarks/fullwave_page.py FOLDER`` writes ``FOLDER/fullwave.html``. The scans are those of
``tests/data/fullwave`` (origin and limits: ORIGIN.md there): short and free of noise. Here each
stands in the middle of 240 mm of seam, the rest sound, with the noise of a quiet line on top.
"""

from __future__ import annotations

import csv
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.features.indications import IndicationSettings
from seamtell.pipeline.report.trace_page import DrawnSeam, write_trace_page

SCANS = Path(__file__).parents[1] / "tests" / "data" / "fullwave" / "scans"
SEAM_MM, MIDDLE_MM, PITCH_MM = 240.0, 120.0, 0.5
NOISE_PCT = 0.15
LIMITS = RecipeLimits("full-wave", {"specular": 18.0, "scatter": 6.0}, 10.0, 10.0, 9.4)


def padded(scan: Path, seed: int) -> SeamTrace:
    """The scan in the middle of a longer seam whose ends go on as the scan ends."""
    with scan.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    at = np.array([float(row["position_mm"]) for row in rows]) + MIDDLE_MM
    x = np.arange(0.0, SEAM_MM + PITCH_MM / 2, PITCH_MM)
    rng = np.random.default_rng(seed)
    amplitudes = {}
    for channel in ("specular", "scatter"):
        level = np.interp(x, at, [float(row[channel]) for row in rows])
        noise = NOISE_PCT * (rng.normal(size=len(x)) + 1j * rng.normal(size=len(x)))
        amplitudes[channel] = np.clip(np.abs(level + noise), 0.0, 100.0).astype(np.float32)
    return SeamTrace(
        seam_id=scan.stem,
        welded_at=datetime(2026, 1, 5, 8, tzinfo=UTC),
        line="simulated",
        recipe=LIMITS.recipe,
        start_mm=0.0,
        pitch_mm=PITCH_MM,
        amplitudes_pct=amplitudes,
    )


def lead(analyses: list[SeamAnalysis]) -> str:
    """What was found, counted from the analyses."""
    counts = [len(analysis.indications) for analysis in analyses]
    one = sum(count == 1 for count in counts)
    quiet = [a.trace.seam_id for a in analyses if not a.indications]
    more = [a.trace.seam_id for a in analyses if len(a.indications) > 1]
    return (
        f"{one} of {len(counts)} full-wave scans give exactly one indication; "
        f"none on: {', '.join(quiet) or 'no scan'}; more than one on: {', '.join(more) or 'no scan'}. "
        f"Each scan lies at {MIDDLE_MM:g} mm of a padded seam with noise of {NOISE_PCT:g} % FSH."
    )


def write_page(folder: Path) -> Path:
    """Write the page into `folder` and return its path."""
    scans = sorted(SCANS.glob("*.csv"))
    analyses = [analyse_seam(padded(scan, i), LIMITS, IndicationSettings()) for i, scan in enumerate(scans)]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "fullwave.html"
    # From 1 to 100 % FSH between the scans: one scale would hide half of them.
    seams = [DrawnSeam(analysis) for analysis in analyses]
    write_trace_page(path, "Full-wave scans with their indications", lead(analyses), seams, same_scale=False)
    return path


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python benchmarks/fullwave_page.py FOLDER")
    print(write_page(Path(sys.argv[1])))

"""Measure what the readable implementation does on one core: ``make bench``.

Writes ``benchmarks/results.json`` and ``benchmarks/results.md``, each figure the minimum and the
median of `RUNS` runs after one that is not counted. The SciPy loop beside `describe` is the
plain way to do a like job with library calls alone; quote the ratio, not the absolute figure.
"""

from __future__ import annotations

import json
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.signal import correlate, find_peaks, medfilt, peak_widths

from seamtell.data_synth.shop import invent_shop
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.pipeline.classify import classify
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.synth import synth

RUNS = 5
SEAMS = 200
HERE = Path(__file__).parent


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    work: str
    unit: str
    best: float
    median: float


def per_second(work: str, unit: str, amount: int, call: Callable[[], object]) -> Row:
    """Time `call`, which does `amount` units of work."""
    call()
    seconds = []
    for _ in range(RUNS):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return Row(work, unit, amount / min(seconds), amount / statistics.median(seconds))


def scipy_loop(traces: list[SeamTrace]) -> None:
    """Median filter, MAD, peaks, widths and lag of each seam with SciPy calls."""
    for trace in traces:
        channels = [a.astype(np.float64) for a in trace.amplitudes_pct.values()]
        excursions = [a - medfilt(a, 101) for a in channels]
        for excursion in excursions:
            noise = 1.4826 * np.median(np.abs(excursion - np.median(excursion)))
            peaks, _ = find_peaks(excursion, height=5 * noise)
            peak_widths(excursion, peaks)
        correlate(*excursions[:2])


def describe_all(traces: list[SeamTrace]) -> None:
    """Baseline, noise, indications and descriptors of each seam."""
    limits = {recipe.name: recipe.limits() for recipe in ShopPlan().recipes}
    for trace in traces:
        describe_seam(analyse_seam(trace, limits[trace.recipe]))


def measure() -> list[Row]:
    """Run every measurement."""
    shop = invent_shop(SEAMS, seed=5)
    traces = [seam.trace for seam in shop.seams()]
    rows = [
        per_second("invent seams", "seams/s", SEAMS, lambda: list(shop.seams())),
        per_second("describe, readable reference", "seams/s", SEAMS, lambda: describe_all(traces)),
        per_second("SciPy loop", "seams/s", SEAMS, lambda: scipy_loop(traces)),
    ]
    with tempfile.TemporaryDirectory() as folder:
        rows += measure_stages(Path(folder))
    help_call = [sys.executable, "-c", "from seamtell.pipeline.cli import main; main()", "--help"]
    rows.append(
        per_second("seamtell --help", "calls/s", 1, lambda: subprocess.run(help_call, capture_output=True))
    )
    return rows


def measure_stages(folder: Path) -> list[Row]:
    """Ingest and classify through files."""
    made = synth(folder / "shop", seams=SEAMS, seed=5)
    numbers = iter(range(1000))

    def take_in() -> None:
        ws = init_workspace(folder / f"ws{next(numbers)}")
        ws.limits_path.write_bytes(made.limits_path.read_bytes())
        ingest(ws, [made.traces_dir], str(made.profile_path))

    rows = [per_second("ingest text files", "seams/s", made.text_seams, take_in)]
    ws = init_workspace(folder / "all")
    ws.limits_path.write_bytes(made.limits_path.read_bytes())
    ingest(ws, [made.traces_dir], str(made.profile_path))
    ingest(ws, [made.parquet_path], "default")
    now = datetime.now(UTC)
    out = iter(range(1000))
    rows.append(
        per_second(
            "classify, limit rule alone",
            "seams/s",
            SEAMS,
            lambda: classify(ws, out=folder / f"out{next(out)}", now=now),
        )
    )
    return rows


def main() -> None:
    """Measure, print and write the tables."""
    rows = measure()
    machine = f"{platform.machine()}, Python {platform.python_version()}, NumPy {np.__version__}"
    lines = [
        f"Machine: {machine}. {RUNS} runs.",
        "",
        "| work | unit | best | median |",
        "| --- | --- | --- | --- |",
    ]
    lines += [f"| {r.work} | {r.unit} | {r.best:,.1f} | {r.median:,.1f} |" for r in rows]
    (HERE / "results.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    document = {"machine": machine, "runs": RUNS, "rows": [asdict(r) for r in rows]}
    (HERE / "results.json").write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()

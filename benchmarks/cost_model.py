"""What classifying a billion seams costs: ``python benchmarks/cost_model.py``; writes ``cost_model.md``.

Two stores of different size are classified on one thread, each run in a process of its own; the difference is
the cost of the seams, the rest the cost of starting. Everything per 10^9 seams is that cost times 10^9, so it
holds where cores add up: units of work share nothing but the storage.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pyarrow.parquet as pq
from speed.load import Load
from speed.machine import this_machine
from speed.model_rows import learnt
from speed.stage_rows import MODEL_ID, classify_runs, prepared
from speed.timing import RUNS

from seamtell.pipeline.classify import classify
from seamtell.pipeline.store.manifest import MANIFEST_FILE
from seamtell.pipeline.store.writer import COMMIT_SEAMS
from seamtell.pipeline.streaming.units import UNIT_SEAMS
from seamtell.pipeline.workspace import Workspace

BILLION = 10**9
_LINKS = (("disk of 0.2 GB/s", 0.2e9), ("network of 10 Gbit/s", 1.25e9), ("object store of 10 GB/s", 10e9))


@dataclass(frozen=True)
class Cost:
    """What one seam costs.

    Parameters
    ----------
    core_seconds : float
        CPU time of a seam.
    start_seconds : float
        Wall time of a run over no seams: reading manifest and model, first use of the machine code.
    store_bytes, result_bytes, manifest_bytes : float
        Of a seam.
    """

    core_seconds: float
    start_seconds: float
    store_bytes: float
    result_bytes: float
    manifest_bytes: float


def measure(small: int, large: int, runs: int, scratch: Path | None) -> Cost:
    """Classify both stores and take the difference."""
    load = Load.invented(256)
    model = learnt(load, "lightgbm")
    with tempfile.TemporaryDirectory(dir=scratch) as name:
        folder = Path(name)
        few, _ = prepared(folder / "few", small, load, model)
        many, store_bytes = prepared(folder / "many", large, load, model)
        short = classify_runs(few, folder / "out", runs=runs, threads=1)
        long = classify_runs(many, folder / "out", runs=runs, threads=1)
        different, _ = prepared(folder / "different", len(load.traces), load, model)
        result_bytes = _result_bytes(different, folder / "out")
        manifest_bytes = (many.traces_dir / MANIFEST_FILE).stat().st_size
    core_seconds = (min(long.cpu_seconds) - min(short.cpu_seconds)) / (large - small)
    a_seam = (min(long.seconds) - min(short.seconds)) / (large - small)
    return Cost(
        core_seconds,
        min(short.seconds) - small * a_seam,
        store_bytes / large,
        result_bytes / len(load.traces),
        manifest_bytes / large,
    )


def _result_bytes(ws: Workspace, out: Path) -> int:
    """Bytes of all columns of the results; of different seams, since repeated ones pack to almost nothing."""
    classify(ws, out=out, trial=MODEL_ID, now=datetime.now(UTC))
    size = 0
    for path in out.rglob("*.parquet"):
        if path.is_file():
            about = pq.read_metadata(path)
            groups = [about.row_group(i) for i in range(about.num_row_groups)]
            size += sum(g.column(c).total_compressed_size for g in groups for c in range(g.num_columns))
    shutil.rmtree(out)
    return size


def text(cost: Cost, small: int, large: int, runs: int) -> str:
    """Write the cost model as Markdown."""
    rate = 1.0 / cost.core_seconds
    demand = rate * cost.store_bytes
    lines = [
        f"Machine: {this_machine().in_words()}. {small:,} and {large:,} seams, one thread, 300 trees, "
        f"best of {runs} runs. Made by `python benchmarks/cost_model.py`.",
        "",
        "| | a seam | 10⁹ seams |",
        "| --- | ---: | ---: |",
        f"| classify, start apart | {1e6 * cost.core_seconds:.1f} µs of a core ({rate:,.0f} seams/s) | "
        f"{BILLION * cost.core_seconds / 3600:,.1f} core-hours |",
        f"| store, today's layout | {cost.store_bytes:,.0f} bytes | {cost.store_bytes:,.0f} GB |",
        f"| decisions and indications | {cost.result_bytes:,.0f} bytes | {cost.result_bytes:,.0f} GB |",
        f"| manifest, parts of {COMMIT_SEAMS:,} seams | {cost.manifest_bytes:.2f} bytes | "
        f"{cost.manifest_bytes * BILLION / 1e6:,.0f} MB in {BILLION / COMMIT_SEAMS:,.0f} parts |",
        f"| start of a process | {cost.start_seconds:.2f} s a run | "
        f"{BILLION / UNIT_SEAMS:,.0f} units of work |",
        "",
        f"One core asks the storage for {demand / 1e6:,.0f} MB/s. Up to so many cores they are what "
        "limits; beyond, the storage:",
        "",
        "| storage | cores it keeps busy | 10⁹ seams take at least |",
        "| --- | ---: | ---: |",
        *(
            f"| {name} | {speed / demand:,.0f} | {BILLION * cost.store_bytes / speed / 3600:,.1f} h |"
            for name, speed in _LINKS
        ),
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--small", type=int, default=10_000)
    parser.add_argument("--large", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("cost_model.md"))
    parser.add_argument("--scratch", type=Path, help="folder for the stores")
    given = parser.parse_args()
    cost = measure(given.small, given.large, given.runs, given.scratch)
    page = text(cost, given.small, given.large, given.runs)
    given.out.write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()

"""Make a workspace with a big seam store: ``python benchmarks/big_store.py FOLDER --seams 1000000``.

Some hundred seams of the invented shop are repeated under new ids and times, so that a store of any size
is there in minutes: what a stage needs of time and memory does not ask whether a seam was seen before.
The plan is the shop's own with more flaws a seam (`FLAW_FACTOR`), and every seam is cut to `SAMPLES`
samples, which gives the load that the tables of `benchmarks/results.md` speak of: 2 x 1,024 samples and
about 1.7 indications a seam. How many there are is measured and printed, not assumed.

The parts are those that ingest makes: `COMMIT_SEAMS` seams each, in the store's own layout. Memory holds one
part for each thread.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa

from seamtell.data_synth.shop import InventedSeam, invent_shop
from seamtell.data_synth.shop_plan import ShopPlan, limits_text
from seamtell.features.contracts import SeamTrace
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.manifest import Manifest, Part, write_manifest
from seamtell.pipeline.store.rows import StoredSeam, content_sha256, table_bytes, to_table
from seamtell.pipeline.store.writer import COMMIT_SEAMS
from seamtell.pipeline.workspace import Workspace

BASE_SEAMS = 256
FLAW_FACTOR = 4.1
SAMPLES = 1024
STEP = timedelta(seconds=4)
_SHORTEST_MM, _LONGEST_MM = 512.0, 560.0


@dataclass(frozen=True)
class BigStore:
    """What was made.

    Parameters
    ----------
    workspace : Workspace
    seams : int
    size_bytes : int
        Of all part files.
    seconds : float
        To write them, inventing left out.
    """

    workspace: Workspace
    seams: int
    size_bytes: int
    seconds: float


def busy_plan(flaw_factor: float = FLAW_FACTOR) -> ShopPlan:
    """Return the shop with `flaw_factor` times its flaws, and seams long enough to be cut to `SAMPLES`."""
    plan = ShopPlan()
    rates = {flaw: rate * flaw_factor for flaw, rate in plan.flaws_per_seam.items()}
    return replace(plan, flaws_per_seam=rates, seam_length_mm=(_SHORTEST_MM, _LONGEST_MM))


def base_traces(
    seams: int = BASE_SEAMS, samples: int = SAMPLES, flaw_factor: float = FLAW_FACTOR, seed: int = 5
) -> list[SeamTrace]:
    """Invent seams and keep the first `samples` samples of each."""
    return [cut(seam.trace, samples) for seam in base_seams(seams, flaw_factor, seed)]


def base_seams(
    seams: int = BASE_SEAMS, flaw_factor: float = FLAW_FACTOR, seed: int = 5
) -> Iterator[InventedSeam]:
    """Invent seams that can be cut to `SAMPLES` samples, with what is hidden in them."""
    yield from invent_shop(seams, seed, busy_plan(flaw_factor)).seams()


def cut(trace: SeamTrace, samples: int) -> SeamTrace:
    """Only the first `samples` samples."""
    if trace.n_samples < samples:
        raise ValueError(f"seam '{trace.seam_id}' has {trace.n_samples} samples, expected {samples} or more")
    amplitudes = {name: values[:samples] for name, values in trace.amplitudes_pct.items()}
    return replace(trace, amplitudes_pct=amplitudes)


def indications_a_seam(traces: list[SeamTrace]) -> float:
    """What the kernel finds."""
    limits = {recipe.name: recipe.limits() for recipe in ShopPlan().recipes}
    return len(describe_batch(TraceBatch.of_traces(traces), limits)) / len(traces)


@dataclass(frozen=True)
class PartPlan:
    """Seams ``first`` to ``first + seams`` of the big store, all of one month.

    Parameters
    ----------
    path : str
        Relative to the store.
    welded_at : datetime
        Of the first.
    """

    path: str
    first: int
    seams: int
    welded_at: datetime


def parts_of(seams: int, part_seams: int = COMMIT_SEAMS) -> Iterator[PartPlan]:
    """Cut `seams` seams, welded one behind another, into parts that do not cross a month."""
    first, start = 0, ShopPlan().start
    while first < seams:
        welded_at = start + first * STEP
        month_end = (welded_at.replace(day=1) + timedelta(days=32)).replace(day=1, hour=0, minute=0, second=0)
        left = min(seams - first, part_seams, -((welded_at - month_end) // STEP))
        yield PartPlan(f"line=L1/month={welded_at:%Y-%m}/part-{first:010d}.parquet", first, left, welded_at)
        first += left


def repeated(base: pa.Table, first: int, seams: int) -> pa.Table:
    """Rows of `base`, again and again until they are `seams`, under ids and times that count from `first`.

    Content digests are numbers here: all that matters of them is that no two are alike.
    """
    numbers = np.arange(first, first + seams)
    rows = pa.concat_tables([base] * -(-seams // base.num_rows)).slice(0, seams)
    start = np.datetime64(ShopPlan().start.replace(tzinfo=None), "us")
    welded = start + numbers * np.timedelta64(STEP)
    columns = {
        "seam_id": [f"B{number:010d}" for number in numbers],
        "welded_at": welded.astype(np.int64),
        "line": ["L1"] * seams,
        "content_sha256": [f"{number:064x}" for number in numbers],
    }
    for name, column in columns.items():
        place = rows.schema.get_field_index(name)
        field = rows.schema.field(place)
        rows = rows.set_column(place, field, pa.array(column, type=field.type))
    return rows


def make_big_store(
    folder: Path,
    seams: int,
    traces: list[SeamTrace] | None = None,
    part_seams: int = COMMIT_SEAMS,
    threads: int | None = None,
    encoded: Callable[[pa.Table], bytes] = table_bytes,
) -> BigStore:
    """Make a workspace in `folder` whose store holds `seams` seams.

    Parameters
    ----------
    traces : list of SeamTrace, optional
        To repeat; default: `base_traces`.
    encoded : callable
        Turns rows into the bytes of a part file; default: the store's own layout.
    """
    ws = init_workspace(folder)
    ws.limits_path.write_text(limits_text(ShopPlan()), encoding="utf-8")
    stored = [StoredSeam(trace, "invented", content_sha256(trace)) for trace in traces or base_traces()]
    base = to_table(stored).combine_chunks()

    def write(plan: PartPlan) -> int:
        data = encoded(repeated(base, plan.first, plan.seams))
        path = ws.traces_dir / plan.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return len(data)

    plans = list(parts_of(seams, part_seams))
    start = time.perf_counter()
    with ThreadPoolExecutor(threads or os.cpu_count()) as pool:
        size_bytes = sum(pool.map(write, plans))
    seconds = time.perf_counter() - start
    parts = (Part(p.path, p.seams, p.welded_at.isoformat(), f"B{p.first:010d}") for p in plans)
    write_manifest(ws.traces_dir, Manifest(tuple(parts)))
    return BigStore(ws, seams, size_bytes, seconds)


def main() -> None:
    """Make the store and say what it holds."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("folder", type=Path, help="new workspace")
    parser.add_argument("--seams", type=int, default=100_000)
    parser.add_argument(
        "--base-seams", type=int, default=BASE_SEAMS, help="different seams; the rest repeats them"
    )
    parser.add_argument("--samples", type=int, default=SAMPLES, help="samples of each channel, up to 1,024")
    parser.add_argument("--part-seams", type=int, default=COMMIT_SEAMS, help="seams in one part file")
    given = parser.parse_args()
    traces = base_traces(given.base_seams, given.samples)
    made = make_big_store(given.folder, given.seams, traces, given.part_seams)
    print(
        f"{made.seams:,} seams, {made.size_bytes / made.seams:,.0f} bytes and "
        f"{indications_a_seam(traces):.2f} indications a seam, "
        f"written at {made.seams / made.seconds:,.0f} seams/s in {made.workspace.root}"
    )


if __name__ == "__main__":
    main()

"""Seconds to describe a store with 1 to 4 worker processes, beside one process without a cluster.

``python benchmarks/dask_scaling.py [--seams 50000] [--workers 4] [--repeats 3]`` prints Markdown.
Starting the workers is not timed: a cluster stands. The first run on it, which loads the
machine code in each worker, is not timed either. More workers than cores gain nothing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.beyond.cluster import local_cluster, open_cluster
from seamtell.pipeline.beyond.cluster_run import OnCluster
from seamtell.pipeline.describe import describe
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

SAMPLES = 1024
TEMPLATES = 256
UNIT_SEAMS = 2048
"""Smaller than in use, so that four workers find enough units in a store that is made in a minute."""
LIMITS = """
schema_version = 1
[recipe.R1]
limit_pct = { specular = 30.0, scatter = 12.0 }
dead_zone_start_mm = 10.0
dead_zone_end_mm = 10.0
beam_width_mm = 9.0
"""


def made_store(folder: Path, seams: int) -> Workspace:
    """A store of noisy seams with up to three bumps each, repeated from a few hundred templates."""
    ws = init_workspace(folder)
    ws.limits_path.write_text(LIMITS, encoding="utf-8")
    rng = np.random.default_rng(50_000)
    templates = [_amplitudes(rng) for _ in range(TEMPLATES)]
    writer = StoreWriter(ws.traces_dir)
    first = datetime(2026, 1, 1, tzinfo=UTC)
    for number in range(seams):
        writer.add(
            SeamTrace(
                seam_id=f"S{number:07d}",
                welded_at=first + timedelta(seconds=60 * number),
                line=f"L{number % 2 + 1}",
                recipe="R1",
                start_mm=0.0,
                pitch_mm=0.5,
                amplitudes_pct=templates[number % TEMPLATES],
            ),
            "made for the measurement",
        )
    writer.commit()
    return ws


def _amplitudes(rng: np.random.Generator) -> dict[str, np.ndarray]:
    x = 0.5 * np.arange(SAMPLES)
    specular = 7 + rng.normal(0, 0.2, SAMPLES)
    scatter = 0.6 + np.abs(rng.normal(0, 0.1, SAMPLES))
    for _ in range(int(rng.integers(0, 4))):
        bump = np.exp(-0.5 * ((x - rng.uniform(40, 470)) / rng.uniform(3, 8)) ** 2)
        specular, scatter = specular + rng.uniform(2, 40) * bump, scatter + rng.uniform(1, 15) * bump
    return {"specular": specular.astype(np.float32), "scatter": scatter.astype(np.float32)}


def best_of(repeats: int, folder: Path, run: Callable[[Path], object]) -> float:
    """Least seconds of several runs, each into a new folder."""
    seconds = []
    for _ in range(repeats):
        begun = time.perf_counter()
        run(folder)
        seconds.append(time.perf_counter() - begun)
        shutil.rmtree(folder)
    return min(seconds)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seams", type=int, default=50_000)
    asked.add_argument("--workers", type=int, default=4)
    asked.add_argument("--repeats", type=int, default=3)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as root:
        ws, out = made_store(Path(root) / "ws", given.seams), Path(root) / "out"
        print(
            f"{given.seams:,} seams of 2 x {SAMPLES} samples, {os.cpu_count()} cores, {UNIT_SEAMS:,} a unit\n"
        )
        print("| who works | seconds | seams/s | over one worker |")
        print("| --- | --- | --- | --- |")
        describe(ws, out, threads=1, unit_seams=UNIT_SEAMS)
        shutil.rmtree(out)
        alone = best_of(
            given.repeats, out, lambda folder: describe(ws, folder, threads=1, unit_seams=UNIT_SEAMS)
        )
        print(f"| one process, one thread | {alone:.2f} | {given.seams / alone:,.0f} | |")
        one = 0.0
        for workers in range(1, given.workers + 1):
            with local_cluster(workers) as cluster, open_cluster(cluster.scheduler_address, 30.0) as client:
                client.wait_for_workers(workers)

                def run(folder: Path, on_cluster: OnCluster = OnCluster(client)) -> object:
                    return describe(ws, folder, run=on_cluster, unit_seams=UNIT_SEAMS)

                run(out)
                shutil.rmtree(out)
                seconds = best_of(given.repeats, out, run)
            one = one or seconds
            name = "worker" if workers == 1 else "workers"
            print(
                f"| {workers} {name} | {seconds:.2f} | {given.seams / seconds:,.0f} | {one / seconds:.2f} |"
            )


if __name__ == "__main__":
    main()

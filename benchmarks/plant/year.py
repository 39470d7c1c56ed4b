"""Inventing a year's seams in several processes, as Parquet files in the contract layout, with the truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq

from seamtell.data_synth.plant_year import YEAR_DAYS
from seamtell.data_synth.reference_blank import reference_runs
from seamtell.data_synth.shop import invent_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.synth_layout import contract_file_bytes, contract_table
from seamtell.pipeline.worker_processes import worker_pool

__all__ = ["InventedYear", "invent_year", "write_runs"]

WEEKS = YEAR_DAYS // 7


@dataclass(frozen=True)
class InventedYear:
    """Files of a year's seams in order of welding, and what is hidden in them.

    Parameters
    ----------
    files : tuple of Path
        One a week.
    hidden : DataFrame
        ``seam_id, label, start_mm, end_mm`` of every flaw and of what only looks like one.
    """

    files: tuple[Path, ...]
    hidden: pd.DataFrame


def invent_year(folder: Path, plan: ShopPlan, seams: int, seed: int, workers: int) -> InventedYear:
    """Invent it; the weeks hold equally many seams."""
    folder.mkdir(parents=True, exist_ok=True)
    edges = np.linspace(0, seams, WEEKS + 1).astype(int).tolist()
    paths = [folder / f"week-{week:02d}.parquet" for week in range(WEEKS)]
    jobs = (paths, [plan] * WEEKS, [seed] * WEEKS, [seams] * WEEKS, edges[:-1], edges[1:])
    with worker_pool(workers) as pool:
        hidden = [row for rows in pool.map(_write_week, *jobs) for row in rows]
    return InventedYear(
        tuple(paths), pd.DataFrame(hidden, columns=["seam_id", "label", "start_mm", "end_mm"])
    )


def _write_week(
    path: Path, plan: ShopPlan, seed: int, seams: int, first: int, stop: int
) -> list[tuple[str, str, float, float]]:
    traces, hidden = [], []
    for index in range(first, stop):
        seam = invent_seam(plan, seed, index, seams)
        # The half year before has seams of the same numbers.
        seam_id = f"Y-{seam.trace.seam_id}"
        traces.append(replace(seam.trace, seam_id=seam_id))
        hidden += [(seam_id, flaw.label.value, flaw.start_mm, flaw.end_mm) for flaw in seam.flaws]
    pq.write_table(contract_table(traces), path, compression="zstd")
    return hidden


def write_runs(
    folder: Path, plan: ShopPlan, seed: int, runs: int, prefix: str
) -> Iterator[tuple[SeamTrace, Path]]:
    """Write runs of the reference blank at even distances over the plan's days, by line and time."""
    folder.mkdir(parents=True, exist_ok=True)
    for run in reference_runs(plan, seed, runs):
        named = replace(run, seam_id=f"{prefix}-{run.seam_id}")
        path = folder / f"{named.seam_id}.csv"
        path.write_bytes(contract_file_bytes(named))
        yield named, path

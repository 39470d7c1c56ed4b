"""Classifying Parquet to Parquet at several sizes, the start of the command line, and the live mode."""

from __future__ import annotations

import json
import re
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from big_store import make_big_store

from seamtell.models.flaw_model import FlawModel
from seamtell.models.model_file import save_model
from seamtell.pipeline.workspace import Workspace
from speed.load import Load
from speed.timing import RUNS, Measured, NotMeasured, measured

__all__ = ["ClassifyRuns", "classify_rows", "classify_runs", "help_row", "prepared", "watch_row"]

MODEL_ID = "m-bench"
_SCRIPT = Path(__file__).with_name("classify_once.py")
_WATCH = Path(__file__).parents[1] / "watch_latency.py"
_WATCH_FILES = 100
_WATCH_LINE = re.compile(r"before the move[^|]*\| *([\d.]+) *\| *([\d.]+) *\|")


@dataclass(frozen=True)
class ClassifyRuns:
    """Several runs over one store, each in a new process.

    Parameters
    ----------
    seconds : tuple of float
        Of the call, loading machine code and model included; start and imports are left out.
    whole_seconds : tuple of float
        Of the process, from its start to its end.
    cpu_seconds : tuple of float
        Of the whole process.
    peak_mib : tuple of float
    """

    seams: int
    seconds: tuple[float, ...]
    whole_seconds: tuple[float, ...]
    cpu_seconds: tuple[float, ...]
    peak_mib: tuple[float, ...]


def prepared(folder: Path, seams: int, load: Load, model: FlawModel) -> tuple[Workspace, int]:
    """Make a workspace of `seams` seams with a model that can be tried; gives the bytes of the store, too."""
    made = make_big_store(folder, seams, load.traces)
    made.workspace.models_dir.mkdir(exist_ok=True)
    save_model(model, made.workspace.models_dir / MODEL_ID)
    return made.workspace, made.size_bytes


def classify_runs(
    ws: Workspace, out: Path, *, runs: int = RUNS, threads: int | None = None, model: str = MODEL_ID
) -> ClassifyRuns:
    """Classify the store several times after one run that fills the caches."""
    found = []
    for _ in range(runs + 1):
        command = [sys.executable, _SCRIPT, ws.root, out, model, *([str(threads)] if threads else [])]
        start = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        whole = time.perf_counter() - start
        found.append({**json.loads(done.stdout.splitlines()[-1]), "whole_seconds": whole})
        shutil.rmtree(out)
    counted = found[1:]
    columns = ("seconds", "whole_seconds", "cpu_seconds", "peak_mib")
    return ClassifyRuns(
        counted[0]["seams"], *(tuple(float(one[name]) for one in counted) for name in columns)
    )


def classify_rows(
    folder: Path,
    sizes: tuple[int, ...],
    load: Load,
    model: FlawModel,
    *,
    runs: int = RUNS,
    tell: Callable[[str], None] = print,
) -> list[Measured]:
    """Time and memory at each size."""
    rows = []
    for seams in sizes:
        tell(f"classify {seams:,} seams")
        ws, _ = prepared(folder / f"store-{seams}", seams, load, model)
        done = classify_runs(ws, folder / "out", runs=runs)
        shutil.rmtree(ws.root)
        work = f"classify {seams:,} seams, Parquet to Parquet, 300 trees"
        peak = statistics.median(done.peak_mib)
        for key, of, times in (
            (f"classify_{seams}", work, done.seconds),
            (f"process_{seams}", f"{work}: start and imports counted", done.whole_seconds),
        ):
            best, median = min(times), statistics.median(times)
            rows.append(Measured(key, of, "seams/s", seams / best, seams / median, runs, seams))
        rows.append(
            Measured(f"peak_{seams}", f"{work}: peak memory", "MiB", min(done.peak_mib), peak, runs, seams)
        )
    return rows


def help_row(*, runs: int = RUNS) -> Measured:
    """Time ``seamtell --help``, from the start of the interpreter to its end."""
    command = [sys.executable, "-c", "from seamtell.pipeline.cli import main; main()", "--help"]
    return measured(
        "help",
        "seamtell --help",
        "s",
        1,
        lambda: subprocess.run(command, capture_output=True, check=True),
        2 * runs,
    )


def watch_row(ws: Workspace) -> Measured | NotMeasured:
    """Median latency of the live mode, as its own script states it."""
    work = "seamtell watch, file seen to decision written"
    if not _WATCH.exists():
        return NotMeasured("watch", work, "no live mode in this version")
    command = [sys.executable, _WATCH, ws.root, "--files", str(_WATCH_FILES)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    found = _WATCH_LINE.search(done.stdout)
    if done.returncode or found is None:
        last = (done.stderr or done.stdout or "it said nothing").strip().splitlines()[-1]
        return NotMeasured("watch", work, last)
    return Measured("watch", work, "ms", float(found[1]), float(found[2]), _WATCH_FILES)

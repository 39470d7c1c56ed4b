"""Latency of the live mode: from a trace file moved into the folder to its decision, durable on the disk.

    python benchmarks/watch_latency.py WORKSPACE [--files 200] [--interval 0.05]

works on a copy of the workspace. Seams of its store are written as CSV files under new names
and moved into the watched folder one by one, while ``seamtell watch --json`` runs as a process of
its own. Two figures a seam: what the process states (notification received to journal flushed),
and from before the move to the line read from its output. Both hold reading and checking the file, the
limit rule, describing, the model, the question whether it can be trusted, and one flush of the journal to
the disk; carrying decisions to the store and to the Parquet files follows in quiet moments.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle, islice
from pathlib import Path

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.store.seam_store import SeamStore

FACTS = ("line", "recipe", "coil", "shift", "thickness_a_mm", "thickness_b_mm")
COMMAND = (sys.executable, "-c", "from seamtell.pipeline.cli import main; main()", "watch", "--json")


def csv_text(trace: SeamTrace) -> str:
    head = {"seam_id": trace.seam_id, "welded_at": trace.welded_at.isoformat()}
    head |= {name: getattr(trace, name) for name in FACTS if getattr(trace, name) not in ("", None)}
    rows = zip(
        trace.positions_mm(), trace.amplitudes_pct["specular"], trace.amplitudes_pct["scatter"], strict=True
    )
    lines = [f"# {key}: {value}" for key, value in head.items()]
    lines += ["position_mm,specular,scatter", *(f"{x:.3f},{a:.3f},{b:.3f}" for x, a, b in rows)]
    return "\n".join(lines) + "\n"


def new_seams(workspace: Path, n: int) -> Iterator[SeamTrace]:
    traces = cycle(list(islice(SeamStore(workspace / "traces").iter_traces(), n)))
    for i, trace in enumerate(islice(traces, n)):
        yield replace(trace, seam_id=f"live-{i:05d}")


def measure(workspace: Path, folder: Path, n: int, interval_s: float) -> tuple[list[float], list[float]]:
    stated, seen = [], []
    (folder / "in").mkdir()
    command = (*COMMAND, str(folder / "in"), "--workspace", str(workspace))
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        if json.loads(process.stdout.readline())["event"] != "watching":
            raise SystemExit("the watch did not begin")
        for trace in new_seams(workspace, n):
            path = folder / f"{trace.seam_id}.csv"
            path.write_text(csv_text(trace), encoding="utf-8")
            time.sleep(interval_s)
            begun = time.perf_counter()
            path.rename(folder / "in" / path.name)
            news = json.loads(process.stdout.readline())
            seen.append(1e3 * (time.perf_counter() - begun))
            if news.get("seam_id") != trace.seam_id or news["event"] != "decided":
                raise SystemExit(f"got {news}, expected the decision on {trace.seam_id}")
            stated.append(float(news["latency_ms"]))
        process.terminate()
    return stated, seen


def row(name: str, values: list[float]) -> str:
    ordered = sorted(values)
    places = (0, len(ordered) // 2, int(0.95 * (len(ordered) - 1)))
    return f"| {name} | " + " | ".join(f"{ordered[i]:.1f}" for i in places) + " |"


def main() -> None:
    keep_lines = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=keep_lines)
    parser.add_argument("workspace", type=Path)
    parser.add_argument("--files", type=int, default=200)
    parser.add_argument("--interval", type=float, default=0.05, metavar="SECONDS")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="watch-latency-", dir=arguments.workspace.parent) as name:
        copy = Path(name) / "workspace"
        shutil.copytree(arguments.workspace, copy)
        stated, seen = measure(copy, Path(name), arguments.files, arguments.interval)
    print(f"| {arguments.files} seams, one at a time, ms | minimum | median | 95 % |")
    print("| --- | --- | --- | --- |")
    print(row("notification to journal flushed", stated))
    print(row("before the move to the line read", seen))


if __name__ == "__main__":
    main()

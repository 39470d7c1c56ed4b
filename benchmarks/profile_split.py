"""Where the time of ``classify`` goes: ``python benchmarks/profile_split.py [--seams 20000]``.

Parquet to Parquet on one thread with a model of 300 trees, step by step; describing is divided in the
proportions that the kernel's own loop shows when it is stopped after each step. Writes ``profile_split.md``.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from speed.kernel_split import kernel_split
from speed.load import Load
from speed.machine import this_machine
from speed.model_rows import learnt
from speed.stage_rows import prepared
from speed.stage_split import DESCRIBE, stage_split
from speed.timing import RUNS

from seamtell.pipeline.store.row_groups import BATCH_SEAMS


def split(seams: int, runs: int, scratch: Path | None) -> dict[str, float]:
    """Microseconds a seam of each step, in the order of the road."""
    load = Load.invented(256)
    kernel = kernel_split(load.batch(BATCH_SEAMS), load.limits, runs)
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        ws, _ = prepared(Path(folder) / "store", seams, load, learnt(load, "lightgbm"))
        stages = stage_split(ws, Path(folder) / "out", runs)
    described, in_kernel = stages.pop(DESCRIBE), sum(kernel.values())
    steps: dict[str, float] = {}
    for name, seconds in stages.items():
        if name == "model":
            steps |= {step: described * part / in_kernel for step, part in kernel.items()}
        steps[name] = seconds
    return {name: 1e6 * seconds / seams for name, seconds in steps.items()}


def table(steps: dict[str, float], seams: int, runs: int) -> str:
    """Write the split as Markdown."""
    whole = sum(steps.values())
    lines = [
        f"Machine: {this_machine().in_words()}. {seams:,} seams, one thread, best of {runs} runs. "
        "Made by `python benchmarks/profile_split.py`.",
        "",
        "| step | µs a seam | share |",
        "| --- | ---: | ---: |",
        *(f"| {name} | {value:.2f} | {100 * value / whole:.0f} % |" for name, value in steps.items()),
        f"| in all | {whole:.2f} | {1e6 / whole:,.0f} seams/s |",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure and write the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--seams", type=int, default=20_000)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("profile_split.md"))
    parser.add_argument("--scratch", type=Path, help="folder for the store")
    given = parser.parse_args()
    text = table(split(given.seams, given.runs, given.scratch), given.seams, given.runs)
    given.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()

"""Measure how fast seamtell works: ``make bench``, or ``python benchmarks/run.py [--quick] [--large]``.

Writes ``results.json`` and ``results.md`` beside this file, and first compares the ratios with those that
were there. A ratio that fell by more than 15 % is warned of; with ``--strict`` the exit code is then 1.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from big_store import SAMPLES
from speed.growth import describe_growth
from speed.kernel_rows import kernel_rows
from speed.load import Load
from speed.machine import this_machine
from speed.model_rows import learnt, model_rows
from speed.outside import outside_rows
from speed.ratios import falls, ratios_of
from speed.stage_rows import classify_rows, help_row, prepared, watch_row
from speed.tables import Results, committed_ratios, markdown, write_results
from speed.timing import RUNS, Measured, NotMeasured

HERE = Path(__file__).parent
DIFFERENT_SEAMS = 256
SIZES = (10_000, 100_000)
LARGE = 1_000_000


def tell(text: str) -> None:
    """Say what is measured now, apart from the results."""
    print(text, file=sys.stderr, flush=True)


def measure(sizes: tuple[int, ...], runs: int, outside_python: Path, scratch: Path | None) -> Results:
    """Run every measurement."""
    tell("invent seams")
    load = Load.invented(DIFFERENT_SEAMS)
    tell("describe")
    rows: list[Measured | NotMeasured] = [*kernel_rows(load, runs=runs)]
    tell("general feature libraries")
    rows += outside_rows(load, outside_python, runs=runs)
    tell("growth of cost")
    growths = describe_growth(load, runs=runs)
    tell("models")
    models = {name: learnt(load, name) for name in ("logistic", "lightgbm")}
    rows += model_rows(load, models, runs=runs)
    rows.append(help_row(runs=runs))
    with tempfile.TemporaryDirectory(dir=scratch) as name:
        rows += classify_rows(Path(name), sizes, load, models["lightgbm"], runs=runs, tell=tell)
        tell("live mode")
        rows.append(watch_row(prepared(Path(name) / "live", 1_000, load, models["lightgbm"])[0]))
    about = {
        "different_seams": len(load.traces),
        "samples": SAMPLES,
        "indications_a_seam": load.indications_a_seam,
    }
    measured = [row for row in rows if isinstance(row, Measured)]
    return Results(this_machine(), about, rows, ratios_of(measured), growths)


def main() -> None:
    """Measure, compare, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--quick", action="store_true", help="10,000 seams, two runs; to try it out")
    parser.add_argument("--large", action="store_true", help=f"classify {LARGE:,} seams too")
    parser.add_argument("--strict", action="store_true", help="exit with 1 when a ratio fell")
    parser.add_argument("--out", type=Path, default=HERE, help="folder of results.json and results.md")
    parser.add_argument("--outside", type=Path, default=HERE.parent / ".venv-bench/bin/python")
    parser.add_argument("--scratch", type=Path, help="folder for the stores, about 4 GB for a million seams")
    given = parser.parse_args()
    sizes = SIZES[:1] if given.quick else (*SIZES, LARGE) if given.large else SIZES
    results = measure(sizes, 2 if given.quick else RUNS, given.outside, given.scratch)
    fallen = falls(results.ratios, committed_ratios(HERE / "results.json"))
    given.out.mkdir(parents=True, exist_ok=True)
    write_results(results, given.out)
    print(markdown(results))
    for fall in fallen:
        print(fall.in_words(), file=sys.stderr)
    if fallen and given.strict:
        sys.exit(1)


if __name__ == "__main__":
    main()

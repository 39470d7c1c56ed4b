"""What simulated flaws are worth to a classifier: ``python benchmarks/physics_learning.py``.

Four experiments on an invented shop whose nuisances, gains and beam differ from what the
simulated flaws are made with: (a) learning curves, (b) sizes and (c) a thickness pair
that no section had, (d) physics that is wrong on purpose. Rows and finished trainings are
kept in ``build/learning``: an interrupted run goes on where it stopped. Writes
``benchmarks/learning_from_physics.json``, ``.md`` and one figure an experiment.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import as_completed
from functools import lru_cache
from pathlib import Path

from learning.answering import CellResult, run_cells, trainings
from learning.ceiling import reach_ceiling
from learning.cells import Cell, Setup, cells_of
from learning.results_log import add_result, read_results
from learning.stored_rows import Stored, prepare, read_stored, setup_digest
from learning.written import write_all

from seamtell.data_synth.trial_shop import trial_shop_plan
from seamtell.pipeline.worker_processes import worker_pool

HERE = Path(__file__).parent
SMALL = Setup(pool_seams=800, test_seams=400, physics_per_class=40, simulated_per_class=60, folds=3)
SCRATCH = HERE.parent / "build" / "learning"


@lru_cache(maxsize=1)
def _stored(folder: Path, variants: tuple[str, ...]) -> Stored:
    """Rows of a worker: all are there already."""
    return read_stored(folder, variants)


def train_cells(
    cells: tuple[Cell, ...], setup: Setup, folder: Path, variants: tuple[str, ...]
) -> list[CellResult]:
    """Train once in a worker process, and ask what each of the cells asks."""
    rows = _stored(folder, variants)
    return run_cells(cells, setup, rows.pool, rows.test, rows.physics)


def told(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def main(arguments: list[str] | None = None) -> None:
    """Run what is asked for and write the tables of everything that is there."""
    options = _options().parse_args(arguments)
    setup, plan = (SMALL if options.small else Setup()), trial_shop_plan()
    folder = options.scratch / setup_digest(setup, plan)
    recipes = tuple(recipe.name for recipe in plan.recipes)
    cells = {one: cells_of(one, options.draws, recipes) for one in "abcd"}
    wanted = list(dict.fromkeys(cell for one in options.only for cell in cells[one]))
    variants = tuple(sorted({cell.physics for cell in wanted} - {"none"}))
    log = folder / "cells.jsonl"
    with worker_pool(options.workers) as pool:
        rows = prepare(setup, plan, folder, variants, pool, told)
        results = read_results(log)
        left = trainings(cell for cell in wanted if cell not in results)
        told(f"{len(wanted)} cells, {len(results.keys() & set(wanted))} known; {len(left)} trainings to do")
        started = time.monotonic()
        running = [pool.submit(train_cells, group, setup, folder, variants) for group in left]
        try:
            for number, done in enumerate(as_completed(running), start=1):
                for result in done.result():
                    add_result(log, result)
                    results[result.cell] = result
                minutes = (time.monotonic() - started) / number * (len(left) - number) / 60
                told(f"{number}/{len(left)} trained, about {minutes:.1f} min left")
        finally:
            # Whatever ends the loop early: what is done is in the log, the rest need not run.
            pool.shutdown(wait=True, cancel_futures=True)
    known = {one: some for one, some in cells.items() if any(cell in results for cell in some)}
    ceilings = reach_ceiling(rows.pool, rows.test, recipes, setup.seed)
    for path in write_all(options.out, setup, known, results, rows, ceilings):
        print(path)


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=10, help="draws of sections of each cell")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--only", nargs="+", choices="abcd", default=list("abcd"), help="experiments")
    parser.add_argument("--small", action="store_true", help="few rows: to see that everything runs")
    parser.add_argument("--out", type=Path, default=HERE, help="folder of tables and figures")
    parser.add_argument("--scratch", type=Path, default=SCRATCH, help="folder of rows and finished trainings")
    return parser


if __name__ == "__main__":
    main()

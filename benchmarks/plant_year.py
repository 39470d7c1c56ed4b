"""An invented year end to end: ``python benchmarks/plant_year.py``.

Each year has a plant of its own, whose model is trained on sections of the half year before and
approved. The year goes through ingest, weekly reference checks, drift, classify and the process page,
and what the page says is held against what was planted. Writes ``benchmarks/plant_year.json`` and
``.md``. Finished years are kept in ``build/plant``, so an interrupted run goes on; the page of every
year stays there to be opened.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from plant.judged import events_of, inventions_of, mix_against_truth
from plant.plant import live_a_year, prepare_plant
from plant.written import summary, written
from plant.year import invent_year

from seamtell.data_synth.plant_year import YearTruth, eventful_year, quiet_year
from seamtell.data_synth.seam_plan import plan_seam
from seamtell.data_synth.shop_plan import ShopPlan

HERE = Path(__file__).parent
SCRATCH = HERE.parent / "build" / "plant"
YEAR_SEED = 2600
BEFORE_SEEDS = {"eventful": 11, "quiet": 21}
"""Of the half year before the first year of a kind; the next year's is one more."""


def _tell(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def run_year(scratch: Path, kind: str, number: int, seams: int, workers: int) -> dict[str, Any]:
    """Live one year and judge it."""
    plan, truth = eventful_year() if kind == "eventful" else (quiet_year(), None)
    seed = YEAR_SEED + number
    folder, before = scratch / f"{kind}-{number}", BEFORE_SEEDS[kind] + number
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    workspace = prepare_plant(folder, before, _tell)
    _tell(f"{kind} year {number}: invent {seams} seams")
    year = invent_year(folder / "traces", plan, seams, seed, workers)
    lived = live_a_year(workspace, before, plan, year, _tell)
    start, coil = plan.start.date(), _bad_coil(plan, truth, seed, seams)
    mix = mix_against_truth(lived, year.hidden)
    events = () if truth is None else events_of(lived, truth, start, coil)
    inventions = inventions_of(lived, start, coil, truth)
    shutil.copyfile(workspace / "reports" / "process.html", scratch / f"{kind}-{number}.html")
    shutil.rmtree(folder)
    return {
        "kind": kind,
        "number": number,
        "seams": lived.view.seams,
        "indications": lived.view.indications,
        "answer": lived.view.answer,
        "warnings": lived.view.warnings,
        "drift": lived.view.drift,
        "restarts": lived.restarts,
        "series": len({(one.line, one.recipe, one.label) for one in lived.view.weeks}),
        "ringed_weeks": sum(bool(one.alarm) for one in lived.view.weeks if one.line == one.recipe == "all"),
        "charted_weeks": sum(
            one.low is not None for one in lived.view.weeks if one.line == one.recipe == "all"
        ),
        "events": [asdict(one) for one in events],
        "inventions": asdict(inventions),
        "mix": json.loads(mix.to_json(orient="records")),
    }


def _bad_coil(plan: ShopPlan, truth: YearTruth | None, seed: int, seams: int) -> str:
    """Name of the coil that the incident strikes."""
    if truth is None:
        return ""
    for index in range(seams):
        seam = plan_seam(plan, seed, index, seams)
        if truth.coil.met_by(seam.line.name, int(np.floor(seam.weeks * 7 + 1e-9)), seam.shift):
            return seam.coil
    raise ValueError(f"no seam of {seams} meets the incident")


def main(arguments: list[str] | None = None) -> None:
    """Run what is missing and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--eventful", type=int, default=2, help="eventful years")
    parser.add_argument("--quiet", type=int, default=4, help="quiet years")
    parser.add_argument("--seams", type=int, default=12_000, help="a year")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--scratch", type=Path, default=SCRATCH)
    options = parser.parse_args(arguments)
    options.scratch.mkdir(parents=True, exist_ok=True)
    years = []
    for kind, count in (("eventful", options.eventful), ("quiet", options.quiet)):
        for number in range(count):
            path = options.scratch / f"{kind}-{number}-{options.seams}.json"
            if not path.exists():
                done = run_year(options.scratch, kind, number, options.seams, options.workers)
                path.write_text(json.dumps(done, indent=1))
            years.append(json.loads(path.read_text()))
    found = summary(years)
    (HERE / "plant_year.json").write_text(json.dumps({"summary": found, "years": years}, indent=1) + "\n")
    (HERE / "plant_year.md").write_text(written(found, years))


if __name__ == "__main__":
    main()

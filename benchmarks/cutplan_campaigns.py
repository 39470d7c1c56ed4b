"""Planned cuts against random ones: ``python benchmarks/cutplan_campaigns.py``.

Invents shops, cuts each in campaigns until the default criteria hold, and counts sections. There
are two random arms: among *indications*, the harder rival, and along all seams, which is what
``random`` means in a section table and which meets an indication so seldom that any plan looks
good. Then draws plans over and over to see whether figures weighed by the stored probabilities
are unbiased. Writes ``benchmarks/cutplan_campaigns.json`` and ``.md`` (another name with
``--thin``); finished shops are kept in ``build/cutplan``, so an interrupted run goes on.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
from cutting.campaign import Arm, Setup, first_cuts, run_campaign
from cutting.fairness import fairness_of_plans
from cutting.passing import own_criteria, standing
from cutting.population import invent_population
from cutting.written import summary, written

from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.pipeline.worker_processes import worker_pool

HERE = Path(__file__).parent
SCRATCH = HERE.parent / "build" / "cutplan"
SHOP_SEED = 7100


def thin_plan(label: str) -> ShopPlan:
    """The invented shop with one class at a quarter of its rate; as it is for an empty `label`."""
    plan = ShopPlan()
    rates = {flaw: rate / (4 if flaw == label else 1) for flaw, rate in plan.flaws_per_seam.items()}
    return replace(plan, flaws_per_seam=rates)


def run_shop(number: int, seams: int, campaigns: int, draws: int, thin: str = "") -> dict[str, object]:
    """All campaigns of one shop."""
    population = invent_population(seams, SHOP_SEED + number, thin_plan(thin))
    criteria, setup = own_criteria(), Setup()
    ended = [
        asdict(run_campaign(population, arm, seed, criteria, setup))
        for seed in range(campaigns)
        for arm in Arm
    ]
    cut = first_cuts(population, 0, setup.first)
    fair = fairness_of_plans(
        population, cut, standing(population, cut, criteria), n=40, draws=draws, seed=number
    )
    deviation = fair.totals - fair.truth
    return {
        "shop": number,
        "seams": seams,
        "indications": len(population),
        "share_of_length": float(population.extents_mm.sum() / population.seams_mm),
        "campaigns": ended,
        "truth": fair.truth.tolist(),
        "draws": draws,
        "totals_bias": deviation.mean(axis=0).tolist(),
        "totals_se": (deviation.std(axis=0, ddof=1) / np.sqrt(draws)).tolist(),
        "weighed_bias": (fair.weighed - fair.truth).mean(axis=0).tolist(),
        "weighed_sd": fair.weighed.std(axis=0, ddof=1).tolist(),
        "plain_bias": (fair.plain - fair.truth).mean(axis=0).tolist(),
        "covered": fair.covered.mean(axis=0).tolist(),
    }


def _kept(folder: Path, number: int, options: argparse.Namespace) -> dict[str, object]:
    size = f"{options.seams}-{options.campaigns}-{options.draws}"
    path = folder / f"shop{options.thin}-{number:02d}-{size}.json"
    if not path.exists():
        shop = run_shop(number, options.seams, options.campaigns, options.draws, options.thin)
        half = path.with_suffix(".half")
        half.write_text(json.dumps(shop))
        half.replace(path)
        print(f"shop {number} done", file=sys.stderr, flush=True)
    shop = json.loads(path.read_text())
    assert isinstance(shop, dict)
    return shop


def main(arguments: list[str] | None = None) -> None:
    """Run what is missing and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=5)
    parser.add_argument("--campaigns", type=int, default=4, help="of each shop")
    parser.add_argument("--seams", type=int, default=2500)
    parser.add_argument("--draws", type=int, default=150, help="plans drawn to look for bias")
    parser.add_argument("--thin", default="", help="a class at a quarter of its rate, for example mismatch")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--scratch", type=Path, default=SCRATCH)
    options = parser.parse_args(arguments)
    options.scratch.mkdir(parents=True, exist_ok=True)
    numbers = range(options.shops)
    with worker_pool(options.workers) as pool:
        shops = list(pool.map(_kept, [options.scratch] * len(numbers), numbers, [options] * len(numbers)))
    found = summary(shops)
    document = json.dumps({"summary": found, "shops": shops}, indent=1)
    name = f"cutplan_campaigns{'_thin_' * bool(options.thin)}{options.thin}"
    (HERE / f"{name}.json").write_text(document + "\n")
    (HERE / f"{name}.md").write_text(written(found, options.thin))


if __name__ == "__main__":
    main()

"""Sections of an invented shop, matched to indications as the program matches them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from learning.rows import Rows, joined
from seamtell.data_synth.shop import SimulatedSeam, simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.descriptors.registry import model_names
from seamtell.pipeline.ceiling import matched_cuts
from seamtell.pipeline.describe import batches
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.settings import Settings

__all__ = ["ShopPart", "shop_rows"]

_BATCH_SEAMS = 256


@dataclass(frozen=True)
class ShopPart:
    """What one process invents: its `part` of `parts` of a shop of `seams` seams."""

    plan: ShopPlan
    seed: int
    seams: int
    part: int
    parts: int


def shop_rows(part: ShopPart) -> Rows:
    """Every excursion of the part cut, examined, and matched to an indication; the rest is left out."""
    simulated = simulate_sections(part.plan, part.seed, part.seams, part.part, part.parts)
    return joined([_batch_rows(part.plan, batch) for batch in batches(simulated, _BATCH_SEAMS)])


def _batch_rows(plan: ShopPlan, batch: Sequence[SimulatedSeam]) -> Rows:
    indications, rows = matched_cuts(batch, plan, Settings())
    cuts = {cut.section_id: cut for seam in batch for cut in seam.cuts}
    chosen = [cuts[section] for section in rows["section_id"]]
    recipes = rows["recipe"].to_numpy(str)
    mean_mm = {recipe.name: recipe.joint.mean_mm for recipe in plan.recipes}
    return Rows(
        values=descriptor_values(rows, indications, model_names()),
        labels=rows["truth"].to_numpy(str),
        hidden=np.array([cut.true_flaw.value for cut in chosen], dtype=str),
        sizes_mm=np.array([cut.length_mm for cut in chosen], dtype=np.float64),
        depth_share=np.array([cut.depth_mm for cut in chosen], dtype=np.float64)
        / np.array([mean_mm[recipe] for recipe in recipes.tolist()], dtype=np.float64),
        groups=rows["group"].to_numpy(str),
        recipes=recipes,
    )

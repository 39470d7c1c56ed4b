"""Sections of an invented shop, matched to indications as the program matches them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from learning.rows import Rows, joined
from seamtell.data_synth.cutting import Cut
from seamtell.data_synth.shop import SimulatedSeam, simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.describer import analyse_seam, describe_table
from seamtell.features.descriptors.registry import model_names
from seamtell.pipeline.describe import batches, indication_settings
from seamtell.pipeline.evaluation.matching import match_sections
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
    limits = {recipe.name: recipe.limits() for recipe in plan.recipes}
    settings = Settings()
    found = indication_settings(settings.describe)
    traces = [seam.trace for seam in batch]
    indications = describe_table(analyse_seam(t, limits[t.recipe], found) for t in traces)
    cuts = {cut.section_id: cut for seam in batch for cut in seam.cuts}
    seams = pd.DataFrame(
        {
            "seam_id": [trace.seam_id for trace in traces],
            "welded_at": pd.to_datetime([trace.welded_at for trace in traces], utc=True),
            "coil": [trace.coil for trace in traces],
            "recipe": [trace.recipe for trace in traces],
        }
    )
    extra = settings.match.extra_tolerance_mm
    matched = match_sections(_section_table(list(cuts.values())), indications, extra, seams=seams)
    rows = matched[matched["matched"]]
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


def _section_table(cuts: list[Cut]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "section_id": [cut.section_id for cut in cuts],
            "seam_id": [cut.seam_id for cut in cuts],
            "flaw": [cut.flaw.value for cut in cuts],
            "position_mm": [cut.position_mm for cut in cuts],
            "position_tol_mm": [cut.position_tol_mm for cut in cuts],
            "purpose": [cut.purpose.value for cut in cuts],
        }
    )

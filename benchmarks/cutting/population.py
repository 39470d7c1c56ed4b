"""The indications of an invented shop, each with what a section there would find."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.data_synth.shop import simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.descriptors.registry import model_names, schema_digest
from seamtell.models.labelled_table import LabelledTable
from seamtell.pipeline.ceiling import matched_cuts
from seamtell.pipeline.cutting.near_copies import Looks, scaled
from seamtell.pipeline.describe import batches
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.settings import Settings

__all__ = ["Population", "invent_population"]

_BATCH_SEAMS = 256
_FACTS = ("start_mm", "end_mm", "peak_mm", "exceeds_limit")


@dataclass(frozen=True, eq=False)
class Population:
    """Indications that could be cut.

    Parameters
    ----------
    rows : DataFrame
        One an indication, as `matched_cuts` returns it (``section_id, seam_id, truth, group, …``) with
        ``coil, line, start_mm, end_mm, peak_mm, flaw_length_mm``.
    values : array of shape (n, d)
    seams_mm : float
        Length of all seams of the shop, those without an indication as well.
    """

    rows: pd.DataFrame
    values: NDArray[np.float64]
    seams_mm: float

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def truths(self) -> NDArray[np.str_]:
        """What the examiner would write."""
        return self.rows["truth"].to_numpy(str)

    @property
    def extents_mm(self) -> NDArray[np.float64]:
        """Length of each indication."""
        return (self.rows["end_mm"] - self.rows["start_mm"]).to_numpy(float)

    def looks(self, which: NDArray[np.int64]) -> Looks:
        """What some of the indications look like."""
        rows = self.rows.iloc[which]
        return Looks(
            scaled(self.values[which]),
            rows["seam_id"].to_numpy(str),
            rows["coil"].to_numpy(str),
            rows["line"].to_numpy(str),
            rows["peak_mm"].to_numpy(float),
        )

    def table(self, which: NDArray[np.int64]) -> LabelledTable:
        """Some of the indications once they are cut; sizes would only slow the training down."""
        rows = self.rows.iloc[which]
        return LabelledTable(
            section_ids=tuple(rows["section_id"]),
            values=self.values[which],
            names=model_names(),
            truths=rows["truth"].to_numpy(str),
            groups=rows["group"].to_numpy(str),
            times=rows["welded_at"].dt.tz_convert(None).to_numpy().astype("datetime64[us]"),
            recipes=rows["recipe"].to_numpy(str),
            schema_digest=schema_digest(),
        )


def invent_population(seams: int, seed: int, plan: ShopPlan | None = None) -> Population:
    """Invent a shop of `seams` seams and look at every excursion of it."""
    plan = plan or ShopPlan()
    frames, values = [], []
    for batch in batches(simulate_sections(plan, seed, seams), _BATCH_SEAMS):
        indications, rows = matched_cuts(batch, plan, Settings())
        cuts = {cut.section_id: cut for seam in batch for cut in seam.cuts}
        lines = {seam.trace.seam_id: seam.trace.line for seam in batch}
        coils = {seam.trace.seam_id: seam.trace.coil for seam in batch}
        found = indications.set_index(["seam_id", "indication"])[list(_FACTS)]
        keys = pd.MultiIndex.from_arrays([rows["seam_id"], rows["indication"].astype("int64")])
        facts = found.reindex(keys).reset_index(drop=True)
        rows = rows.reset_index(drop=True)
        frames.append(
            rows.assign(
                line=rows["seam_id"].map(lines),
                coil=rows["seam_id"].map(coils),
                left_out="",
                **{name: facts[name].to_numpy() for name in _FACTS},
                flaw_length_mm=[cuts[name].length_mm for name in rows["section_id"]],
            )
        )
        values.append(descriptor_values(rows, indications, model_names()))
    mean_mm = sum(plan.seam_length_mm) / 2
    return Population(pd.concat(frames, ignore_index=True), np.concatenate(values), seams * mean_mm)

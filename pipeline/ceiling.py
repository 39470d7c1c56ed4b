"""How well the flaws of the invented shop can be told at all.

The same candidate that the workspace chose is trained on a very large number of
simulated sections of the same shop, other seed, and answers the same held-out
sections. What it still gets wrong is no lack of labels: flaws that are physically
one under two names, wrong labels of the examiner, indications that fell together.
Only an invented shop has a ceiling; a real one never knows its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from seamtell.data_synth.cutting import Cut
from seamtell.data_synth.shop import SimulatedSeam, simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import SeamTrace
from seamtell.features.describer import analyse_seam, describe_table
from seamtell.models.candidates import CANDIDATES
from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import ordered_classes
from seamtell.pipeline.describe import batches
from seamtell.pipeline.evaluation.evidence import gather_evidence
from seamtell.pipeline.evaluation.matching import match_sections
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.forced_score import forced_macro_f1
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.settings import Settings, indication_settings
from seamtell.pipeline.worker_processes import worker_pool
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Ceiling", "SimulationPart", "matched_cuts", "shop_ceiling", "simulated_rows"]

_BATCH_SEAMS = 256
_SECTIONS_PER_SEAM = 0.5


@dataclass(frozen=True)
class Ceiling:
    """Macro-F1 of a candidate that had all the labels one could wish for.

    Parameters
    ----------
    candidate : str
    training_sections : int
        Simulated sections it learnt from.
    macro_f1 : Estimate
        On the held-out sections of the workspace, forced label.
    """

    candidate: str
    training_sections: int
    macro_f1: Estimate


@dataclass(frozen=True)
class SimulationPart:
    """What one process simulates; can be sent to it."""

    plan: ShopPlan
    settings: Settings
    names: tuple[str, ...]
    seed: int
    seams: int
    part: int
    parts: int


def shop_ceiling(
    ws: Workspace,
    model_id: str,
    *,
    plan: ShopPlan | None = None,
    seed: int,
    sections: int = 20_000,
    workers: int = 2,
    done: Callable[[int], None] = lambda _: None,
) -> Ceiling:
    """Train the chosen candidate on at least `sections` simulated sections and score it.

    Parameters
    ----------
    plan : ShopPlan, optional
        Must be the plan that the workspace's shop was invented with.
    seed : int
        Another one than the shop's own.
    workers : int
        Processes; the result depends on neither their number nor their order.
    done : callable, optional
        Told the number of simulated sections after every round.
    """
    evidence = gather_evidence(ws, model_id)
    card = evidence.model.card
    part = SimulationPart(plan or ShopPlan(), evidence.settings, card.descriptor_names, seed, 0, 0, 1)
    values, truths = _simulate(part, sections, workers, done)
    known = np.isin(truths, np.array(card.classes))
    values, truths = values[known], truths[known]
    classes = ordered_classes(truths)
    codes = np.array([classes.index(label) for label in truths.tolist()], dtype=np.int64)
    fitted = CANDIDATES[card.chosen]().fit(
        values, codes, balanced_weights(codes, len(classes)), card.descriptor_names, classes, card.seed
    )
    macro_f1 = forced_macro_f1(evidence, fitted.predict_proba, classes)
    return Ceiling(card.chosen, len(truths), macro_f1)


def _simulate(
    base: SimulationPart, sections: int, workers: int, done: Callable[[int], None]
) -> tuple[np.ndarray, np.ndarray]:
    """Simulate rounds of seams until there are enough sections; rounds have fixed seeds and sizes."""
    parts = 16
    values: list[np.ndarray] = []
    truths: list[np.ndarray] = []
    seams = int(sections / _SECTIONS_PER_SEAM * 1.05)
    with worker_pool(workers) as pool:
        round_number = 0
        while sum(map(len, truths)) < sections:
            jobs = [
                replace(base, seed=base.seed + round_number, seams=seams, part=number, parts=parts)
                for number in range(parts)
            ]
            for part_values, part_truths in pool.map(simulated_rows, jobs):
                values.append(part_values)
                truths.append(part_truths)
                done(sum(map(len, truths)))
            round_number += 1
    return np.concatenate(values), np.concatenate(truths)


def simulated_rows(part: SimulationPart) -> tuple[np.ndarray, np.ndarray]:
    """Descriptors (n, d) and examiner's labels (n,) of one part of the simulated sections."""
    values: list[np.ndarray] = [np.empty((0, len(part.names)))]
    truths: list[np.ndarray] = [np.empty(0, dtype=str)]
    simulated = simulate_sections(part.plan, part.seed, part.seams, part.part, part.parts)
    for batch in batches(simulated, _BATCH_SEAMS):
        indications, rows = matched_cuts(batch, part.plan, part.settings)
        values.append(descriptor_values(rows, indications, part.names))
        truths.append(rows["truth"].to_numpy(str))
    return np.concatenate(values), np.concatenate(truths)


def matched_cuts(
    batch: Sequence[SimulatedSeam], plan: ShopPlan, settings: Settings
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Describe simulated seams, match their cuts; return indications and the cuts that met one."""
    limits = {recipe.name: recipe.limits() for recipe in plan.recipes}
    found = indication_settings(settings.describe)
    traces = [seam.trace for seam in batch]
    indications = describe_table(analyse_seam(t, limits[t.recipe], found) for t in traces)
    matched = match_sections(
        _sections_table([cut for seam in batch for cut in seam.cuts]),
        indications,
        settings.match.extra_tolerance_mm,
        seams=_seams_table(traces),
    )
    return indications, matched[matched["matched"]]


def _sections_table(cuts: list[Cut]) -> pd.DataFrame:
    import pandas as pd

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


def _seams_table(traces: list[SeamTrace]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(
        {
            "seam_id": [trace.seam_id for trace in traces],
            "welded_at": pd.to_datetime([trace.welded_at for trace in traces], utc=True),
            "coil": [trace.coil for trace in traces],
            "recipe": [trace.recipe for trace in traces],
        }
    )

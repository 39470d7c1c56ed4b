"""A first decision on invented traces, so that the first real seam does not wait for compiled code."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from seamtell.features.contracts import CHANNELS, SeamTrace
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.decision_tables import decision_table, indication_table
from seamtell.pipeline.decisions.tally import Tally

__all__ = ["warm_up"]

_LENGTH_MM = 600


def warm_up(decider: Decider) -> None:
    """Decide on one trace with one indication for each recipe, and keep nothing of it."""
    recipes = sorted(decider.limits.by_recipe)
    if not recipes:
        return
    traces = [_trace(recipe) for recipe in recipes]
    decided = decider.decide([trace.seam_id for trace in traces], TraceBatch.of_traces(traces))
    decision_table(decided, ""), indication_table(decided), Tally.of(decided)


def _trace(recipe: str) -> SeamTrace:
    x = np.arange(_LENGTH_MM, dtype=np.float64)
    bump = np.exp(-0.5 * ((x - _LENGTH_MM / 2) / 4.0) ** 2)
    # Some roughness, so that the noise of the trace is not zero.
    rough = 0.1 * np.sin(2.3 * x) + 0.1 * np.sin(0.71 * x)
    return SeamTrace(
        seam_id=f"warm-up {recipe}",
        welded_at=datetime(2000, 1, 1, tzinfo=UTC),
        line="",
        recipe=recipe,
        start_mm=0.0,
        pitch_mm=1.0,
        amplitudes_pct={name: (5.0 + rough + 8.0 * bump).astype(np.float32) for name in CHANNELS},
    )

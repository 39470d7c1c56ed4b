"""Whether the limit rule detects at a section, from the raw trace."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.models.limit_rule import SATURATION_PCT
from seamtell.pipeline.limits_file import Limits

__all__ = ["exceeds_between", "limit_exceeded"]


def exceeds_between(trace: SeamTrace, limits: RecipeLimits, low_mm: float, high_mm: float) -> bool:
    """Whether a judged sample from `low_mm` to `high_mm` is above its channel's limit, or saturated."""
    at = trace.positions_mm()
    first = max(low_mm, trace.start_mm + limits.dead_zone_start_mm)
    last = min(high_mm, trace.end_mm - limits.dead_zone_end_mm)
    here = (at >= first) & (at <= last)
    for name, limit_pct in limits.limit_pct.items():
        amplitude = trace.amplitudes_pct.get(name)
        if amplitude is None:
            continue
        limit = np.asarray(limit_pct, dtype=amplitude.dtype)  # rounded as the amplitudes are
        if bool(((amplitude[here] > limit) | (amplitude[here] >= SATURATION_PCT)).any()):
            return True
    return False


def limit_exceeded(matched: pd.DataFrame, traces: Iterable[SeamTrace], limits: Limits) -> NDArray[np.bool_]:
    """For each section: a limit is exceeded in its indication, or within its tolerance.

    Parameters
    ----------
    matched : DataFrame
        Matched sections with ``exceeds_limit`` of their indication.
    traces : iterable of SeamTrace
        Of all seams named in `matched`, in any order.
    limits : Limits
    """
    exceeded = matched["exceeds_limit"].to_numpy(bool).copy()
    position = matched["position_mm"].to_numpy(float)
    tolerance = matched["tolerance_mm"].to_numpy(float)
    rows_of = matched.groupby("seam_id", sort=False).indices
    for trace in traces:
        recipe = limits.get(trace.recipe)
        if recipe is None:
            continue
        for row in rows_of.get(trace.seam_id, ()):
            low, high = position[row] - tolerance[row], position[row] + tolerance[row]
            exceeded[row] |= exceeds_between(trace, recipe, float(low), float(high))
    return exceeded

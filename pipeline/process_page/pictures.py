"""Drawn traces of the seams that the process page names."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from seamtell.features.describer import analyse_seam
from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.production.decided import ANSWERS
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["MOST_PICTURES", "seam_pictures"]

MOST_PICTURES = 40
"""Drawn at most: each takes some ten kilobytes of the page."""


def seam_pictures(ws: Workspace, decided: Decided, seam_ids: Sequence[str]) -> dict[str, str]:
    """Whole seams as SVG with their indications; those without limits are left out.

    Raises
    ------
    BadInput
        The store does not hold a seam.
    """
    wanted = list(dict.fromkeys(seam_ids))[:MOST_PICTURES]
    limits, settings = read_limits(ws.limits_path), read_settings(ws.settings_path)
    places = pd.Index(decided.seams.metadata["seam_id"]).get_indexer(wanted)
    place_of = dict(zip(wanted, places.tolist(), strict=True))
    drawn = {}
    for trace in SeamStore(ws.traces_dir).iter_traces(wanted):
        own = limits.get(trace.recipe)
        if own is None:
            continue
        analysis = analyse_seam(trace, own, indication_settings(settings.describe))
        window = (trace.start_mm, max(trace.end_mm, trace.start_mm + 1.0))
        labels = _labels(decided, place_of[trace.seam_id])
        told = ", ".join(words(label) for label in labels.values()) or "no indication"
        drawn[trace.seam_id] = draw_panel(
            analysis,
            PanelFrame(window, shared_scale_pct([highest_pct(analysis, window)])),
            labels=labels,
            finding=f"Seam {trace.seam_id}: {told}",
        )
    return {seam: drawn[seam] for seam in wanted if seam in drawn}


def _labels(decided: Decided, place: int) -> dict[int, str]:
    """Label of each indication of a seam by its number along it; none of a seam that was not decided on."""
    own = decided.indications.seam == place
    return {number: ANSWERS[code] for number, code in enumerate(decided.indications.answer[own].tolist())}

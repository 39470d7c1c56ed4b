"""A page of the production seams that a person should look at: rejected and to be reviewed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.features.describer import analyse_seam
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.files import read_decisions
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.trace_page import DrawnSeam, write_trace_page
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MOST_SEAMS", "write_production_page"]

MOST_SEAMS = 40
"""Seams drawn at most; the page says how many more there are."""


def write_production_page(ws: Workspace, decisions: Path, path: Path) -> Path:
    """Draw the newest seams of `decisions` that are not accepted, and return `path`.

    Raises
    ------
    BadInput
        No decisions there.
    StorageProblem
        The page cannot be written.
    """
    indications, seams, record = read_decisions(decisions)
    wanted = seams[seams["verdict"] != Verdict.ACCEPT.text]
    drawn = wanted.tail(MOST_SEAMS)
    limits, settings = read_limits(ws.limits_path), read_settings(ws.settings_path)
    captions = dict(zip(drawn["seam_id"], map(_caption, drawn.itertuples()), strict=True))
    verdicts = dict(zip(drawn["seam_id"], drawn["verdict"], strict=True))
    labels = _labels(indications)
    panels = []
    for trace in SeamStore(ws.traces_dir).iter_traces(list(drawn["seam_id"])):
        own = limits.get(trace.recipe)
        if own is None:  # rejected for that: nothing to draw it against
            continue
        panels.append(
            DrawnSeam(
                analyse_seam(trace, own, indication_settings(settings.describe)),
                caption=captions[trace.seam_id],
                labels=labels.get(trace.seam_id, {}),
                verdict=verdicts[trace.seam_id],
            )
        )
    counts = record.counts.verdicts
    lead = (
        f"{counts.get('reject', 0)} of {record.counts.seams} seams are rejected by the limit rule and "
        f"{counts.get('review', 0)} more are to be reviewed; {_drawn(len(panels), len(drawn), len(wanted))}."
    )
    if record.deviation is not None:
        lead += f" {record.model_id}, which labelled them, was {record.deviation.sentence}."
    write_trace_page(path, "Seams to look at", lead, panels, read_sections(ws))
    return path


def _drawn(drawn: int, chosen: int, wanted: int) -> str:
    if wanted == 0:
        return "so none is drawn"
    which = (
        "all of them are drawn" if chosen == wanted else f"the newest {chosen} of these {wanted} are drawn"
    )
    without = chosen - drawn
    return which if without == 0 else f"{which}, but {without} whose recipe has no limits"


def _caption(row: object) -> str:
    exceeded = str(getattr(row, "exceeded_channels", ""))
    reason = words(str(getattr(row, "reason", ""))).replace("+", " and ")
    if exceeded:
        return f"Limit exceeded on {exceeded.replace('+', ' and ')}."
    if getattr(row, "verdict", "") == Verdict.REVIEW.text:
        return f"Limit kept; a look is asked for: {reason}."
    return f"Rejected without a level: {reason}."


def _labels(indications: pd.DataFrame) -> dict[str, dict[int, str]]:
    found: dict[str, dict[int, str]] = {}
    for seam_id, number, label in indications[["seam_id", "indication", "label"]].itertuples(index=False):
        found.setdefault(seam_id, {})[int(number)] = label
    return found

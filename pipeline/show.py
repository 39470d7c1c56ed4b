"""The stage *show*: draw one seam of the workspace with what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.features.contracts import Indication, SeamTrace
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.pipeline.decisions.files import (
    INDICATIONS_FILE,
    damaged_decisions,
    decision_folders,
    newest_decisions,
)
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import make_folder, write_bytes_atomically
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.report.section_marks import section_marks
from seamtell.pipeline.seam_picture import picture_path, stored_trace
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ShowResult", "show"]


@dataclass(frozen=True)
class ShowResult:
    """What was drawn.

    Parameters
    ----------
    path : Path
        The picture.
    seam_id, recipe : str
    indications : tuple of Indication
        All of the seam, also outside the window.
    labels : mapping of int to str
        Label of each indication, where the newest decisions hold one for it.
    sections : tuple of str
        Ids of the sections of the seam.
    dead_zone_indications : int
        How many more stand out inside the dead zones; not judged.
    conflict : bool
        The seam has two differing traces; the one that came first is drawn.
    """

    path: Path
    seam_id: str
    recipe: str
    indications: tuple[Indication, ...]
    labels: Mapping[int, str] = field(default_factory=dict)
    sections: tuple[str, ...] = ()
    dead_zone_indications: int = 0
    conflict: bool = False


def show(
    ws: Workspace, seam_id: str, *, out: Path | None = None, window_mm: tuple[float, float] | None = None
) -> ShowResult:
    """Draw a seam as PNG or SVG.

    Parameters
    ----------
    ws : Workspace
    seam_id : str
    out : Path, optional
        ``.png`` or ``.svg``; default a file in ``reports/seams`` of the workspace.
    window_mm : (float, float), optional
        Stretch to draw; default the whole seam.

    Raises
    ------
    BadInput
        The store does not hold the seam, its recipe has no limits, the window lies
        outside the seam, or `out` is neither PNG nor SVG.
    StorageProblem
        The picture cannot be written.
    """
    path = picture_path(ws, seam_id, out)
    store = SeamStore(ws.traces_dir)
    trace = stored_trace(store, seam_id)
    window = None if window_mm is None else _checked_window(trace, window_mm)
    settings = indication_settings(read_settings(ws.settings_path).describe)
    analysis = analyse_seam(trace, read_limits(ws.limits_path).for_recipe(trace.recipe), settings)
    sections = read_sections(ws)
    labels = _labels(ws, analysis)
    _draw(path, analysis, labels, sections, window)
    return ShowResult(
        path=path,
        seam_id=seam_id,
        recipe=trace.recipe,
        indications=analysis.indications,
        labels=labels,
        sections=tuple(mark.section_id for mark in section_marks(sections, seam_id)),
        dead_zone_indications=analysis.dead_zone_indications,
        conflict=seam_id in store.conflicts(),
    )


def _checked_window(trace: SeamTrace, window_mm: tuple[float, float]) -> tuple[float, float]:
    low, high = window_mm
    # Written so that NaN fails too.
    if not (low < high and low <= trace.end_mm and high >= trace.start_mm):
        raise BadInput(
            f"got the window {low:g} to {high:g} mm, expected two ascending positions on the seam",
            where=f"seam '{trace.seam_id}'",
            do=f"choose between {trace.start_mm:g} and {trace.end_mm:g} mm",
        )
    return max(low, trace.start_mm), min(high, trace.end_mm)


def _labels(ws: Workspace, analysis: SeamAnalysis) -> dict[int, str]:
    """Labels of the newest decisions, for indications that lie exactly where they lay then."""
    import pandas as pd

    from seamtell.pipeline.store.damage import PARQUET_DAMAGE

    if not decision_folders(ws):
        return {}
    path = newest_decisions(ws) / INDICATIONS_FILE
    columns = ["seam_id", "indication", "start_mm", "end_mm", "label"]
    own = [("seam_id", "==", analysis.trace.seam_id)]
    try:
        table = pd.read_parquet(path, columns=columns, filters=own)
        decided = {
            int(number): (float(start), float(end), str(label))
            for _, number, start, end, label in table.itertuples(index=False)
        }
    except PARQUET_DAMAGE as problem:
        raise damaged_decisions(problem, path) from None
    return {
        found.indication: decided[found.indication][2]
        for found in analysis.indications
        if decided.get(found.indication, (0.0, 0.0, ""))[:2] == (found.start_mm, found.end_mm)
    }


def _draw(
    path: Path,
    analysis: SeamAnalysis,
    labels: Mapping[int, str],
    sections: pd.DataFrame,
    window_mm: tuple[float, float] | None,
) -> None:
    from seamtell.pipeline.report.figure_files import figure_png, figure_svg
    from seamtell.pipeline.report.trace_figure import draw_seam

    figure = draw_seam(analysis, labels, sections, window_mm)
    if path.suffix.lower() == ".svg":
        count = len(analysis.indications)
        finding = f"seam {analysis.trace.seam_id}: {count} indication{'' if count == 1 else 's'}"
        data = figure_svg(figure, finding=finding, standalone=True).encode("utf-8")
    else:
        data = figure_png(figure)
    make_folder(path.parent)
    write_bytes_atomically(path, data)

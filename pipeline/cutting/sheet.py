"""Cut sheets to print: one A4 page a section, with the trace, the place and the fields to fill in.

The classifier's answer is not on them: whoever looks through the microscope must not know it.
"""

from __future__ import annotations

from dataclasses import dataclass

from seamtell.features.contracts import Flaw, Purpose
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.report.page import render_page
from seamtell.pipeline.report.section_marks import SectionMark
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct
from seamtell.pipeline.settings import Settings, indication_settings
from seamtell.pipeline.store.planned_cuts import CutPlan, PlannedCut
from seamtell.pipeline.store.seam_store import SeamStore

__all__ = ["cut_sheets", "plane_words"]

_PACKAGE = "seamtell.pipeline.cutting"
_CLOSE_UP_MM = 60.0
_BLANK_MM = 20.0
"""Least length of seam to cut out to either side of the place."""


@dataclass(frozen=True)
class _Sheet:
    cut: PlannedCut
    start_mm: float
    end_mm: float
    from_end_mm: float
    coupon_mm: tuple[float, float]
    thickness: str
    welded: str
    shift: str
    plane: str
    whole: str
    close_up: str


def cut_sheets(plan: CutPlan, store: SeamStore, limits: Limits, settings: Settings) -> str:
    """All sheets of a plan as one page, in the order of the plan.

    Parameters
    ----------
    plan : CutPlan
    store : SeamStore
        Holds every seam of the plan.
    limits : Limits
    settings : Settings
    """
    wanted = sorted({cut.seam_id for cut in plan.cuts})
    analyses = {
        trace.seam_id: analyse_seam(
            trace, limits.for_recipe(trace.recipe), indication_settings(settings.describe)
        )
        for trace in store.iter_traces(wanted)
    }
    sheets = [_sheet(cut, analyses[cut.seam_id]) for cut in plan.cuts]
    return render_page("cutsheets.html.j2", _PACKAGE, plan=plan, sheets=sheets, flaws=tuple(Flaw))


def plane_words(cut: PlannedCut, beam_width_mm: float) -> str:
    """In which plane to section, by the length of the indication (common practice; the procedure rules).

    It does not look at the classifier's answer: whoever examines must not know it.
    """
    if cut.purpose is Purpose.RANDOM:
        return "Across the seam, at the position. Look along the whole face and note what is there."
    if cut.place_end_mm - cut.place_start_mm <= 2 * beam_width_mm:
        return (
            "Across the seam, beside the position; then grind towards it and past it in steps of 0.2 mm, so "
            "that something small is not ground away unseen."
        )
    return (
        "Across the seam at the position for depth and offset, sheets not clamped flat; the length from "
        "further cuts, or from a break-open of the rest."
    )


def _sheet(cut: PlannedCut, analysis: SeamAnalysis) -> _Sheet:
    trace = analysis.trace
    start, end = trace.start_mm, trace.end_mm
    low = max(start, min(cut.place_start_mm, cut.position_mm) - _BLANK_MM)
    high = min(end, max(cut.place_end_mm, cut.position_mm) + _BLANK_MM)
    close = (max(start, cut.position_mm - _CLOSE_UP_MM), min(end, cut.position_mm + _CLOSE_UP_MM))
    return _Sheet(
        cut=cut,
        start_mm=start,
        end_mm=end,
        from_end_mm=end - cut.position_mm,
        coupon_mm=(low, high),
        thickness=f"{trace.thickness_a_mm:g} / {trace.thickness_b_mm:g} mm",
        welded=f"{trace.welded_at:%Y-%m-%d %H:%M} UTC",
        shift=trace.shift or "unknown",
        plane=plane_words(cut, analysis.limits.beam_width_mm),
        whole=_panel(cut, analysis, (start, max(end, start + 1.0)), "whole seam"),
        close_up=_panel(cut, analysis, (close[0], max(close[1], close[0] + 1.0)), "around the cut"),
    )


def _panel(cut: PlannedCut, analysis: SeamAnalysis, window_mm: tuple[float, float], what: str) -> str:
    scale = shared_scale_pct([highest_pct(analysis, window_mm)])
    mark = SectionMark(cut.section_id, cut.position_mm, 0.0, "to cut")
    shown = "drawn at random" if cut.indication is None else f"indication {cut.indication}"
    finding = f"Seam {cut.seam_id}, {what}: cut {cut.section_id} at {cut.position_mm:g} mm, {shown}"
    return draw_panel(analysis, PanelFrame(window_mm, scale), sections=[mark], finding=finding)

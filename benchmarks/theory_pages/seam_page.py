"""Seams as the invented shop records them: one panel for each kind of flaw and of false indication."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape

from seamtell.data_synth.flaw_sizes import HiddenFlaw
from seamtell.data_synth.seam_plan import plan_seam
from seamtell.data_synth.shop import invent_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Flaw, Side
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.pipeline.report.palette import (
    CHANNEL_MARKS,
    INK_DARK_PAGE,
    INK_LIGHT_PAGE,
    PAPER_DARK_PAGE,
    PAPER_LIGHT_PAGE,
    RULE_GREY,
    UNKNOWN_GREY,
    words,
)
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct

__all__ = ["seam_page_svg"]

_SEED, _SEAMS = 3, 3000
_RECIPE = "MB-1513"
_COLUMNS, _PANEL_WIDTH, _PANEL_HEIGHT, _CAPTION = 3, 430, 200, 34


@dataclass(frozen=True)
class _Wanted:
    """A seam with this one thing in it; `cause` empty for a seam with nothing."""

    cause: str
    length_mm: tuple[float, float] = (0.0, 1e9)
    depth_mm: tuple[float, float] = (0.0, 1e9)
    through: bool = False


_WANTED = (
    _Wanted(""),
    _Wanted("pinhole", (0.5, 0.7), through=True),
    _Wanted("pinhole", (0.9, 1.4)),
    _Wanted("edge_notch", (3.0, 4.5), (0.3, 0.6)),
    _Wanted("edge_notch", (7.0, 10.0), (0.4, 0.7)),
    _Wanted("lack_of_fusion", (5.0, 9.0), (0.5, 0.9)),
    _Wanted("lack_of_fusion", (25.0, 45.0), (0.5, 0.9)),
    _Wanted("lack_of_fusion", (12.0, 22.0), (1.39, 1.5)),
    _Wanted("mismatch", (30.0, 50.0), (0.12, 0.25)),
    _Wanted("spatter"),
    _Wanted("lift_off", (12.0, 40.0)),
    _Wanted("rough_bead", (30.0, 80.0)),
)


def seam_page_svg() -> str:
    """One SVG file with all panels, each on its own amplitude scale."""
    plan = ShopPlan()
    parts = []
    for number, wanted in enumerate(_WANTED):
        analysis, flaw = _first_seam(plan, wanted)
        ends = (flaw.start_mm, flaw.end_mm) if flaw else (analysis.trace.start_mm, analysis.trace.end_mm)
        middle = sum(ends) / 2
        x = _PANEL_WIDTH * (number % _COLUMNS)
        y = (_PANEL_HEIGHT + _CAPTION) * (number // _COLUMNS)
        parts.append(_panel(analysis, flaw, (middle - 60.0, middle + 60.0), x, y))
    rows = -(-len(_WANTED) // _COLUMNS)
    width, height = _COLUMNS * _PANEL_WIDTH, rows * (_PANEL_HEIGHT + _CAPTION)
    finding = (
        "Twelve stretches of invented seams: a sound one, flaws of four classes, three false indications."
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-label="{finding}"><style>{_style()}</style><defs><pattern '
        'id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line '
        f'x1="0" y1="0" x2="0" y2="5" stroke="{UNKNOWN_GREY}" stroke-width="1.4"/></pattern></defs>'
        f'<rect class="paper" width="{width}" height="{height}"/>{"".join(parts)}</svg>\n'
    )


def _first_seam(plan: ShopPlan, wanted: _Wanted) -> tuple[SeamAnalysis, HiddenFlaw | None]:
    """The first seam that holds what is wanted and nothing else, and shows it."""
    limits = next(recipe.limits() for recipe in plan.recipes if recipe.name == _RECIPE)
    for index in range(_SEAMS):
        cause, flaw = _only_flaw(plan, index)
        if cause == wanted.cause and _fits(flaw, wanted):
            analysis = analyse_seam(invent_seam(plan, _SEED, index, _SEAMS).trace, limits)
            if (flaw is not None) == bool(_shown(analysis, flaw)):
                return analysis, flaw
    raise LookupError(f"no seam of {_SEAMS} shows {wanted}; take another seed or more seams")


def _shown(analysis: SeamAnalysis, flaw: HiddenFlaw | None) -> list[int]:
    """Indications at the flaw; all of the seam where there is none."""
    start, end = (flaw.start_mm, flaw.end_mm) if flaw else (-1e9, 1e9)
    return [one.indication for one in analysis.indications if one.end_mm >= start and one.start_mm <= end]


def _only_flaw(plan: ShopPlan, index: int) -> tuple[str | None, HiddenFlaw | None]:
    """Cause and flaw of a seam that holds one thing; empty cause for nothing; None for unfit seams."""
    planned = plan_seam(plan, _SEED, index, _SEAMS)
    if planned.recipe.name != _RECIPE or len(planned.flaws) > 1:
        return None, None
    if not planned.flaws:
        return "", None
    flaw = planned.flaws[0]
    clear = flaw.start_mm > 90.0 and flaw.end_mm < planned.length_mm - 90.0
    return (flaw.cause, flaw) if clear else (None, None)


def _fits(flaw: HiddenFlaw | None, wanted: _Wanted) -> bool:
    if flaw is None:
        return True
    single = len(flaw.geometry) <= 1
    long = wanted.length_mm[0] <= flaw.length_mm <= wanted.length_mm[1]
    single = single and (not wanted.through or flaw.side is Side.THROUGH)
    return single and long and wanted.depth_mm[0] <= flaw.depth_mm <= wanted.depth_mm[1]


def _panel(
    analysis: SeamAnalysis, flaw: HiddenFlaw | None, window_mm: tuple[float, float], x: int, y: int
) -> str:
    frame = PanelFrame(window_mm, shared_scale_pct([highest_pct(analysis, window_mm)]))
    labels = dict.fromkeys(_shown(analysis, flaw), flaw.label.value) if flaw else {}
    caption = _caption(flaw)
    drawn = draw_panel(analysis, frame, labels=labels, finding=caption)
    place = f'<svg x="{x}" y="{y + _CAPTION - 12}" width="{_PANEL_WIDTH}" height="{_PANEL_HEIGHT}" '
    return f'<text class="caption" x="{x + 4}" y="{y + 16}">{escape(caption)}</text>' + re.sub(
        "^<svg ", place, drawn
    )


def _caption(flaw: HiddenFlaw | None) -> str:
    if flaw is None:
        return "nothing in it"
    if flaw.label is Flaw.SOUND:
        return f"sound: {words(flaw.cause)}, {flaw.length_mm:.0f} mm"
    if flaw.label is Flaw.PINHOLE:
        through = flaw.side is Side.THROUGH
        return f"pinhole, {flaw.width_mm:.2f} mm, " + (
            "through" if through else f"{flaw.depth_mm:.2f} mm deep"
        )
    if flaw.label is Flaw.MISMATCH:
        return f"mismatch, {flaw.length_mm:.0f} mm, {flaw.depth_mm:.2f} mm"
    return (
        f"{words(flaw.label.value)}, {flaw.length_mm:.1f} mm, {flaw.depth_mm:.2f} mm deep, {flaw.side.value}"
    )


def _style() -> str:
    specular, scatter = CHANNEL_MARKS["specular"], CHANNEL_MARKS["scatter"]
    dash = " ".join(f"{length:g}" for length in scatter.dash)
    return (
        f"svg{{color:{INK_LIGHT_PAGE};font:11px system-ui,sans-serif}}.paper{{fill:{PAPER_LIGHT_PAGE}}}"
        f"text{{fill:currentColor}}text.specular-name{{fill:{specular.colour}}}"
        f"@media (prefers-color-scheme:dark){{svg{{color:{INK_DARK_PAGE}}}.paper{{fill:{PAPER_DARK_PAGE}}}"
        "text.specular-name{fill:currentColor}}"
        "path{fill:none}.caption{font-weight:600;font-size:12px}.name{font-weight:600}"
        f"path.specular{{stroke:{specular.colour};stroke-width:{specular.width}}}"
        f"path.scatter{{stroke:currentColor;stroke-width:{scatter.width};stroke-dasharray:{dash}}}"
        "svg path.baseline{stroke-width:.8;stroke-dasharray:1 2}"
        "path.axis{stroke:currentColor;stroke-width:.8}"
        f"path.limit{{stroke:{RULE_GREY};stroke-width:.9}}path.peak{{stroke:currentColor;stroke-width:1}}"
        "rect.band{fill:currentColor;fill-opacity:.1}rect.beyond{stroke:currentColor;stroke-width:1}"
        ".hatch{fill:url(#hatch)}"
    )

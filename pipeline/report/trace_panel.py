"""A small drawing of a stretch of seam, many to a page, all with the same scales."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.report.label_places import spread_apart, stacked_rows
from seamtell.pipeline.report.palette import CHANNEL_MARKS, flaw_mark, words
from seamtell.pipeline.report.svg_canvas import Canvas, thin_for_width

if TYPE_CHECKING:
    from seamtell.features.contracts import Indication
    from seamtell.features.describer import SeamAnalysis
    from seamtell.pipeline.report.section_marks import SectionMark

__all__ = ["AMPLITUDE_SCALES_PCT", "PanelFrame", "draw_panel", "highest_pct", "shared_scale_pct"]

AMPLITUDE_SCALES_PCT: tuple[float, ...] = (10.0, 25.0, 50.0, 100.0)
"""Upper ends of the amplitude axis to choose from, % FSH."""

_WIDTH, _HEIGHT = 430.0, 200.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 30.0, 124.0, 32.0, 34.0
_ROW, _ROWS_BELOW_TOP = 12.0, 2
"""Height of a row of labels of indications, and how many there is room for; a panel with more is higher."""


@dataclass(frozen=True)
class PanelFrame:
    """What all drawings of one group share, so that they compare at a glance.

    Parameters
    ----------
    window_mm : (float, float)
        Stretch of seam.
    ceiling_pct : float
        Upper end of the amplitude axis.
    """

    window_mm: tuple[float, float]
    ceiling_pct: float

    def x(self, position_mm: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Pixels from the left of a position."""
        low, high = self.window_mm
        return _LEFT + (np.asarray(position_mm, dtype=float) - low) / (high - low) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, amplitude_pct: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Pixels from the top of an amplitude; what is above the axis is held at its end."""
        share = np.clip(np.asarray(amplitude_pct, dtype=float) / self.ceiling_pct, 0.0, 1.0)
        return _HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM)


def _inside(analysis: SeamAnalysis, window_mm: tuple[float, float]) -> NDArray[np.bool_]:
    positions = analysis.trace.positions_mm()
    return np.asarray((positions >= window_mm[0]) & (positions <= window_mm[1]))


def highest_pct(analysis: SeamAnalysis, window_mm: tuple[float, float]) -> float:
    """Highest amplitude of the drawn channels within the window; 0 where there is no sample."""
    inside = _inside(analysis, window_mm)
    if not inside.any():
        return 0.0
    return max(float(analysis.trace.amplitudes_pct[channel][inside].max()) for channel in CHANNEL_MARKS)


def shared_scale_pct(highest: Sequence[float]) -> float:
    """Smallest scale of `AMPLITUDE_SCALES_PCT` on which all of `highest` can be seen.

    Examples
    --------
    >>> shared_scale_pct([4.0, 12.0])
    25.0
    """
    most = max(highest, default=0.0)
    return next((scale for scale in AMPLITUDE_SCALES_PCT if most <= scale), AMPLITUDE_SCALES_PCT[-1])


def draw_panel(
    analysis: SeamAnalysis,
    frame: PanelFrame,
    *,
    labels: Mapping[int, str] | None = None,
    sections: Sequence[SectionMark] = (),
    name_all_sections: bool = False,
    finding: str,
) -> str:
    """Draw one panel as an ``<svg>`` element.

    Parameters
    ----------
    analysis : SeamAnalysis
    frame : PanelFrame
    labels : mapping of int to str, optional
        Label of each indication that has one.
    sections : sequence of SectionMark
        The first is the one the panel is about and is named; others are marked only,
        unless `name_all_sections`.
    name_all_sections : bool
        Name every section that is marked, in the order of `sections`.
    finding : str
        Alternative text: what a reader should take from the drawing.
    """
    low, high = frame.window_mm
    shown = [i for i in analysis.indications if i.end_mm >= low and i.start_mm <= high]
    names = _names(frame, shown, labels or {})
    above = _ROW * max(0, 1 + max((row for _, _, row in names), default=0) - _ROWS_BELOW_TOP)
    canvas = Canvas(_WIDTH, _HEIGHT, finding, above)
    _draw_dead_zones(canvas, frame, analysis)
    _draw_bands(canvas, frame, shown)
    _draw_axes(canvas, frame)
    canvas.text(2, 10 - above, "% FSH", "tick")
    margin = _draw_limits(canvas, frame, analysis) + _draw_channels(canvas, frame, analysis)
    places = spread_apart([place for place, _, _ in margin], 12.0, _TOP, _HEIGHT - _BOTTOM)
    for place, (_, text, css) in zip(places, margin, strict=True):
        canvas.text(_WIDTH - _RIGHT + 4, place + 3.5, text, css)
    _draw_names(canvas, names)
    marked = [mark for mark in sections if low <= mark.position_mm <= high]
    for mark in marked:
        _draw_section(canvas, frame, mark)
    named = [mark for mark in marked if name_all_sections or mark is sections[0]]
    if named:
        text = "   ".join(f"▼ {mark.section_id}: {mark.truth}" for mark in named)
        canvas.text(_WIDTH / 2, _HEIGHT - 5, text, "tick", "middle")
    return canvas.svg()


def _clamped(frame: PanelFrame, position_mm: float) -> float:
    return float(frame.x(min(max(position_mm, frame.window_mm[0]), frame.window_mm[1])))


def _draw_dead_zones(canvas: Canvas, frame: PanelFrame, analysis: SeamAnalysis) -> None:
    trace, limits = analysis.trace, analysis.limits
    zones = (
        (trace.start_mm, trace.start_mm + limits.dead_zone_start_mm),
        (trace.end_mm - limits.dead_zone_end_mm, trace.end_mm),
    )
    for zone in zones:
        left, right = (_clamped(frame, end) for end in zone)
        if right > left:
            canvas.rect(left, _TOP, right - left, _HEIGHT - _TOP - _BOTTOM, "hatch")


def _draw_bands(canvas: Canvas, frame: PanelFrame, shown: Sequence[Indication]) -> None:
    for indication in shown:
        left, right = _clamped(frame, indication.start_mm), _clamped(frame, indication.end_mm)
        css = "band beyond" if indication.exceeds_limit else "band"
        canvas.rect(left, _TOP, right - left, _HEIGHT - _TOP - _BOTTOM, css)


def _draw_axes(canvas: Canvas, frame: PanelFrame) -> None:
    floor = _HEIGHT - _BOTTOM
    canvas.line(_LEFT, floor, _WIDTH - _RIGHT, floor, "axis")
    canvas.line(_LEFT, _TOP, _LEFT, floor, "axis")
    for level in (0.0, frame.ceiling_pct / 2, frame.ceiling_pct):
        canvas.text(_LEFT - 4, float(frame.y(level)) + 3.5, f"{level:g}", "tick", "end")
    low, high = frame.window_mm
    step = next(s for s in (10, 20, 50, 100, 200, 500, 1000, 5000, 10**9) if (high - low) / s <= 7)
    for position in np.arange(np.ceil(low / step) * step, high + 1e-9, step):
        x = float(frame.x(position))
        canvas.line(x, floor, x, floor + 3, "axis")
        canvas.text(x, floor + 14, f"{position + 0.0:g}", "tick", "middle")
    canvas.text(_WIDTH - _RIGHT + 16, floor + 14, "mm", "tick")


def _draw_limits(canvas: Canvas, frame: PanelFrame, analysis: SeamAnalysis) -> list[tuple[float, str, str]]:
    limits = {c: v for c, v in analysis.limits.limit_pct.items() if c in CHANNEL_MARKS}
    names = {limit: [c for c, v in limits.items() if v == limit] for limit in limits.values()}
    labels = []
    for limit, channels in names.items():
        level = float(frame.y(limit))
        beyond = limit > frame.ceiling_pct
        if not beyond:
            canvas.line(_LEFT, level, _WIDTH - _RIGHT, level, "limit")
        whose = f" {channels[0]}" if len(channels) == 1 else ""
        labels.append((level, f"{'↑ ' if beyond else ''}limit {limit:g} %{whose}", "tick"))
    return labels


def _draw_channels(canvas: Canvas, frame: PanelFrame, analysis: SeamAnalysis) -> list[tuple[float, str, str]]:
    inside = _inside(analysis, frame.window_mm)
    positions = analysis.trace.positions_mm()[inside]
    x = frame.x(positions)
    columns = int(_WIDTH - _LEFT - _RIGHT)
    labels = []
    for channel in CHANNEL_MARKS:
        level = frame.y(analysis.trace.amplitudes_pct[channel][inside].astype(np.float64))
        baseline = frame.y(analysis.baseline_pct[channel][inside])
        # The baseline bends slowly: a point every few pixels shows it.
        stride = max(1, len(x) // 60)
        canvas.path(x[::stride], baseline[::stride], f"baseline {channel}")
        canvas.path(*thin_for_width(x, level, columns), channel)
        if len(level):
            # The ends of a seam say little of its level: the name stands where the judged part ends.
            judged = level[positions <= analysis.trace.end_mm - analysis.limits.dead_zone_end_mm]
            drawn = judged if len(judged) else level
            labels.append(
                (float(np.median(drawn[-max(1, len(drawn) // 20) :])), channel, f"name {channel}-name")
            )
    return labels


def _names(
    frame: PanelFrame, shown: Sequence[Indication], labels: Mapping[int, str]
) -> list[tuple[float, str, int]]:
    """Pixels from the left, text and row of each indication's name."""
    texts = []
    for indication in shown:
        label = labels.get(indication.indication)
        named = f"{flaw_mark(label).glyph} {words(label)}" if label else ""
        texts.append(f"{indication.indication} {named}".strip())
    peaks = [_clamped(frame, i.peak_mm) for i in shown]
    rows = stacked_rows(peaks, [6.0 * len(text) + 8 for text in texts], rows=max(1, len(texts)))
    return list(zip(peaks, texts, rows, strict=True))


def _draw_names(canvas: Canvas, names: Sequence[tuple[float, str, int]]) -> None:
    for peak, text, row in names:
        height = _TOP - 4 - _ROW * row
        canvas.line(peak, height, peak, _TOP + 5, "peak")
        canvas.text(peak + 3, height + 1, text, "tick")


def _draw_section(canvas: Canvas, frame: PanelFrame, mark: SectionMark) -> None:
    floor = _HEIGHT - _BOTTOM
    left = _clamped(frame, mark.position_mm - mark.tolerance_mm)
    right = _clamped(frame, mark.position_mm + mark.tolerance_mm)
    x = _clamped(frame, mark.position_mm)
    canvas.rect(left, floor - 1.5, right - left, 3, "section")
    canvas.triangle_down(x, floor - 1.5, 9, "section")

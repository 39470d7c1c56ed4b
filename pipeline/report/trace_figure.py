"""One seam as a figure: both channels, limits, baselines, indications, sections.

Channels are told apart by line style as well as by colour, and everything is named
on the drawing itself rather than in a legend.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from seamtell.pipeline.report.label_places import spread_apart, stacked_rows
from seamtell.pipeline.report.palette import (
    CHANNEL_MARKS,
    INK_LIGHT_PAGE,
    RULE_GREY,
    flaw_mark,
    line_mark,
    words,
)
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.report.section_lane import draw_lane, lane_height, lane_marks

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from seamtell.features.describer import SeamAnalysis

__all__ = ["draw_seam"]

_LABEL_ROWS = 3
_SMALL = 8.5
_LEFT, _BOTTOM, _WIDTH = 0.07, 0.14, 0.755
_TITLE = 0.955
_CHARACTER_IN = 0.066
"""Mean width of a character of small text, inches."""


def draw_seam(
    analysis: SeamAnalysis,
    labels: Mapping[int, str] | None = None,
    sections: pd.DataFrame | None = None,
    window_mm: tuple[float, float] | None = None,
    *,
    size_in: tuple[float, float] = (9.2, 4.2),
) -> Figure:
    """Draw a seam, or a stretch of it.

    Parameters
    ----------
    analysis : SeamAnalysis
        The trace with its limits, baselines and indications.
    labels : mapping of int to str, optional
        Label of each indication that has one.
    sections : DataFrame, optional
        Sections of this seam and, maybe, of others.
    window_mm : (float, float), optional
        Stretch to draw; default the whole seam.
    size_in : (float, float)
        Width and height of the figure in inches.

    Returns
    -------
    matplotlib.figure.Figure
        Not tied to any window system; see ``figure_files`` for SVG and PNG.
    """
    from matplotlib.figure import Figure

    trace = analysis.trace
    start, end = window_mm or (trace.start_mm, trace.end_mm)
    if end <= start:  # a trace of one sample still gets an axis
        start, end = start - 0.5, end + 0.5
    figure = Figure(figsize=size_in)
    axes = figure.add_axes((_LEFT, _BOTTOM, _WIDTH, 0.66))
    top = _top_pct(analysis, start, end)
    per_character = (end - start) * _CHARACTER_IN / (_WIDTH * size_in[0])
    marks = lane_marks(sections, trace.seam_id, (start, end), per_character)
    axes.set_xlim(start, end)
    axes.set_ylim(-lane_height(marks) * top, top)
    _draw_dead_zones(axes, analysis)
    rows = _draw_indications(axes, analysis, labels or {}, (start, end), per_character)
    # The fewer rows of labels, the more height for the trace.
    axes.set_position((_LEFT, _BOTTOM, _WIDTH, (0.925 - _BOTTOM) / (1.03 + 0.06 * rows)))
    right = _draw_channels(axes, analysis, (start, end)) + _draw_limits(axes, analysis, top)
    _label_right_margin(axes, right, top)
    draw_lane(axes, marks, top, _SMALL)
    _dress(axes, top)
    title = f"seam {trace.seam_id}   line {trace.line}   recipe {trace.recipe}"
    figure.text(_LEFT, _TITLE, plain_text(title, 100), size=11, color=INK_LIGHT_PAGE, parse_math=False)
    return figure


def _top_pct(analysis: SeamAnalysis, start: float, end: float) -> float:
    positions = analysis.trace.positions_mm()
    inside = (positions >= start) & (positions <= end)
    peaks = [float(a[inside].max()) for a in analysis.trace.amplitudes_pct.values() if inside.any()]
    limits = [value for value in analysis.limits.limit_pct.values() if value <= 4 * max(peaks, default=100)]
    return 1.12 * max([*peaks, *limits, 1.0])


def _line(channel: str) -> dict[str, Any]:
    mark = line_mark(channel)
    style: Any = (0, mark.dash) if mark.dash else "solid"
    return {"color": mark.colour, "linewidth": mark.width, "linestyle": style}


def _draw_channels(
    axes: Axes, analysis: SeamAnalysis, window: tuple[float, float]
) -> list[tuple[float, str, str]]:
    trace = analysis.trace
    positions = trace.positions_mm()
    inside = (positions >= window[0]) & (positions <= window[1])
    labels = []
    for channel, amplitude in trace.amplitudes_pct.items():
        axes.plot(positions[inside], amplitude[inside], zorder=3, **_line(channel))
        baseline = analysis.baseline_pct.get(channel)
        if baseline is not None:
            colour = line_mark(channel).colour
            axes.plot(
                positions[inside], baseline[inside], color=colour, linewidth=0.8, linestyle=":", zorder=2
            )
        if inside.any():
            # The ends of a seam say little of its level: the name stands where the judged part ends.
            judged = inside & (positions <= trace.end_mm - analysis.limits.dead_zone_end_mm)
            drawn = amplitude[judged if judged.any() else inside]
            tail = drawn[-max(1, len(drawn) // 50) :]
            labels.append((float(np.median(tail)), channel, line_mark(channel).colour))
    return labels


def _draw_limits(axes: Axes, analysis: SeamAnalysis, top: float) -> list[tuple[float, str, str]]:
    labels = []
    for channel, limit in analysis.limits.limit_pct.items():
        name = f"{channel} limit {limit:g} %"
        if limit > top:
            labels.append((top, f"{name}, above", INK_LIGHT_PAGE))
            continue
        axes.axhline(limit, color=RULE_GREY, linewidth=0.8, zorder=1)
        labels.append((limit, name, INK_LIGHT_PAGE))
    return labels


def _label_right_margin(axes: Axes, labels: list[tuple[float, str, str]], top: float) -> None:
    places = spread_apart([level for level, _, _ in labels], 0.06 * top, 0.0, top)
    for place, (_, text, colour) in zip(places, labels, strict=True):
        axes.text(
            1.008,
            place,
            plain_text(text, 28),
            transform=axes.get_yaxis_transform(),
            color=colour,
            size=_SMALL,
            va="center",
            weight="bold" if text in CHANNEL_MARKS else "normal",
            parse_math=False,
        )


def _draw_indications(
    axes: Axes,
    analysis: SeamAnalysis,
    labels: Mapping[int, str],
    window: tuple[float, float],
    per_character: float,
) -> int:
    """Draw the indications of the window; how many rows their labels take."""
    shown = [i for i in analysis.indications if i.end_mm >= window[0] and i.start_mm <= window[1]]
    texts = [f"{i.indication} {words(labels.get(i.indication, ''))}".strip() for i in shown]
    peaks = [min(max(i.peak_mm, window[0]), window[1]) for i in shown]
    rows = stacked_rows(peaks, [(len(text) + 4) * per_character for text in texts], _LABEL_ROWS)
    # The bands end at zero: the lane of the sections below stays readable.
    low, high = axes.get_ylim()
    floor = -low / (high - low)
    for indication, peak, text, row in zip(shown, peaks, texts, rows, strict=True):
        band: dict[str, Any] = {"facecolor": "none", "edgecolor": INK_LIGHT_PAGE}
        extent = (indication.start_mm, indication.end_mm)
        axes.axvspan(*extent, floor, color=INK_LIGHT_PAGE, alpha=0.09, linewidth=0, zorder=0)
        if indication.exceeds_limit:
            axes.axvspan(*extent, floor, **band, linewidth=0.9, zorder=4)
        else:
            axes.axvspan(*extent, floor, **band, linewidth=0.5, alpha=0.25, zorder=0)
        _name_indication(axes, peak, 1.02 + 0.06 * row, text, labels.get(indication.indication))
    return max(rows, default=-1) + 1


def _name_indication(axes: Axes, peak_mm: float, height: float, text: str, label: str | None) -> None:
    from matplotlib.transforms import blended_transform_factory

    place = blended_transform_factory(axes.transData, axes.transAxes)
    tick: dict[str, Any] = {"transform": place, "color": INK_LIGHT_PAGE, "linewidth": 0.9, "clip_on": False}
    axes.plot([peak_mm, peak_mm], [0.97, height], **tick)
    if label is not None:
        mark = flaw_mark(label)
        axes.plot(
            [peak_mm],
            [height + 0.025],
            transform=place,
            marker=mark.marker,
            markersize=5.5,
            markerfacecolor=mark.colour if mark.filled else "none",
            markeredgecolor=INK_LIGHT_PAGE,
            markeredgewidth=0.6,
            clip_on=False,
        )
    axes.annotate(
        plain_text(text, 40),
        (peak_mm, height + 0.025),
        xycoords=place,
        xytext=(5.5 if label is not None else 0.0, 0.0),
        textcoords="offset points",
        size=_SMALL,
        color=INK_LIGHT_PAGE,
        ha="left" if label is not None else "center",
        va="center",
        parse_math=False,
        annotation_clip=False,
    )


def _draw_dead_zones(axes: Axes, analysis: SeamAnalysis) -> None:
    trace, limits = analysis.trace, analysis.limits
    zones = (
        (trace.start_mm, trace.start_mm + limits.dead_zone_start_mm),
        (trace.end_mm - limits.dead_zone_end_mm, trace.end_mm),
    )
    for low, high in zones:
        if high > low:
            axes.axvspan(
                low, high, fill=False, hatch="////", edgecolor=RULE_GREY, alpha=0.45, linewidth=0, zorder=0
            )
            axes.text(
                (low + high) / 2,
                0.9,
                "dead zone",
                transform=axes.get_xaxis_transform(),
                size=_SMALL,
                color=INK_LIGHT_PAGE,
                ha="center",
                va="top",
                rotation=90,
                clip_on=True,
            )


def _dress(axes: Axes, top: float) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.set_xlabel("position along the seam (mm)", color=INK_LIGHT_PAGE)
    axes.set_ylabel("amplitude (% FSH)", color=INK_LIGHT_PAGE)
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INK_LIGHT_PAGE)
    axes.spines["left"].set_bounds(0.0, top)
    axes.tick_params(colors=INK_LIGHT_PAGE, labelsize=9)
    ticks = MaxNLocator(6, steps=[1, 2, 5, 10]).tick_values(0.0, top)
    axes.set_yticks([tick for tick in ticks if 0 <= tick <= top])
    axes.yaxis.set_major_formatter("{x:g}")

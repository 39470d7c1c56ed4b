"""Figures with their intervals, one a row, on one scale: whisker, dot, bar of bounds, hatching."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seamtell.pipeline.dossier.figures import SMALL_PT, finished, new_axes
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, RULE_GREY, UNKNOWN_GREY
from seamtell.pipeline.report.plain_text import plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["ForestRow", "ForestScale", "draw_forest"]

_ROW_IN = 0.27
_LEFT, _RIGHT = 0.35, 0.77


@dataclass(frozen=True)
class ForestRow:
    """One row.

    Parameters
    ----------
    text : str
        At the left.
    figure : Estimate or None
        Drawn as dot and whisker; hatched where unknown; None draws bounds alone.
    note : str
        At the right.
    bounds : (float, float), optional
        Drawn as an open bar without a dot.
    margin : float, optional
        Drawn as a short vertical tick.
    begins : bool
        First row of a group: a thin rule above it.
    """

    text: str
    figure: Estimate | None
    note: str = ""
    bounds: tuple[float, float] | None = None
    margin: float | None = None
    begins: bool = False


@dataclass(frozen=True)
class ForestScale:
    """Scale of the position axis, with a reference line where one has a meaning."""

    low: float
    high: float
    text: str
    reference: float | None = None


def draw_forest(rows: Sequence[ForestRow], scale: ForestScale, name: str, finding: str) -> str:
    """Draw `rows` from top to bottom, as an ``<svg>`` element."""
    height = _ROW_IN * len(rows)
    figure, axes = new_axes(height + 0.58, left=_LEFT, right=_RIGHT, bottom_in=0.5, top_in=0.08)
    axes.set_xlim(scale.low, scale.high)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x", color=RULE_GREY, linewidth=0.5, alpha=0.45)
    axes.set_axisbelow(True)
    axes.set_xlabel(scale.text)
    if scale.reference is not None:
        axes.axvline(scale.reference, color=INK_LIGHT_PAGE, linewidth=0.9)
    for place, row in enumerate(rows):
        _draw_row(axes, place, row, scale)
    return finished(figure, name, finding)


def _draw_row(axes: Axes, place: int, row: ForestRow, scale: ForestScale) -> None:
    across = axes.get_yaxis_transform()
    style: dict[str, Any] = {"color": INK_LIGHT_PAGE, "size": SMALL_PT, "va": "center", "transform": across}
    axes.text(-0.04, place, plain_text(row.text, 30), ha="right", parse_math=False, **style)
    axes.text(1.04, place, plain_text(row.note, 30), ha="left", parse_math=False, **style)
    if row.begins and place:
        axes.plot(
            [-0.54, 1.3],
            [place - 0.5, place - 0.5],
            color=RULE_GREY,
            linewidth=0.5,
            transform=across,
            clip_on=False,
        )
    found = row.figure
    if row.bounds is not None:
        low, high = (min(max(end, scale.low), scale.high) for end in row.bounds)
        axes.barh(
            place, high - low, left=low, height=0.4, facecolor="none", edgecolor=INK_LIGHT_PAGE, linewidth=1.1
        )
    if found is not None and found.estimate is None:
        axes.barh(
            place,
            scale.high - scale.low,
            left=scale.low,
            height=0.5,
            facecolor="none",
            edgecolor=UNKNOWN_GREY,
            hatch="//////",
            linewidth=0.0,
        )
    elif found is not None and found.estimate is not None:
        _draw_figure(axes, place, found, scale)
    if row.margin is not None:
        axes.plot(
            [row.margin, row.margin],
            [place - 0.4, place + 0.4],
            color=INK_LIGHT_PAGE,
            linewidth=1.2,
            linestyle=(0, (2, 1.5)),
        )


def _draw_figure(axes: Axes, place: int, found: Estimate, scale: ForestScale) -> None:
    ink: dict[str, Any] = {"color": INK_LIGHT_PAGE, "linewidth": 1.5}
    if found.low is not None and found.high is not None:
        axes.plot([found.low, found.high], [place, place], **ink)
        for end in (found.low, found.high):
            axes.plot([end, end], [place - 0.16, place + 0.16], **ink)
    estimate = found.estimate or 0.0
    inside = min(max(estimate, scale.low), scale.high)
    axes.plot([inside], [place], marker="o", markersize=5, color=INK_LIGHT_PAGE, clip_on=False)

"""Figures over a setting: the position tolerance, the threshold of a label, the share of wrong labels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from seamtell.pipeline.dossier.figures import SMALL_PT, finished, new_axes
from seamtell.pipeline.report.label_places import spread_apart
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, RULE_GREY, UNKNOWN_GREY
from seamtell.pipeline.report.plain_text import plain_text

if TYPE_CHECKING:
    from seamtell.pipeline.acceptance.record import CostFigures, LabelErrorFigures, ToleranceCurve

__all__ = ["draw_costs", "draw_label_errors", "draw_tolerance"]

_DASHES: tuple[tuple[float, ...], ...] = ((), (5.0, 2.0), (1.5, 1.5), (6.0, 2.0, 1.5, 2.0))


def draw_tolerance(curve: ToleranceCurve, top: float, name: str, finding: str) -> str:
    """A headline figure against the tolerance in use and others, as an ``<svg>`` element.

    Parameters
    ----------
    top : float
        End of the figure's scale.
    """
    figure, axes = new_axes(2.7)
    axes.set_ylim(0.0, top)
    axes.axvline(curve.in_use_mm, color=RULE_GREY, linewidth=0.9)
    known = [one for one in curve.figures if one.figure.estimate is not None]
    axes.plot(
        [one.extra_tolerance_mm for one in known],
        [one.figure.estimate or 0.0 for one in known],
        color=INK_LIGHT_PAGE,
        linewidth=1.2,
        marker="o",
        markersize=4.5,
    )
    for one in known:
        if one.figure.low is not None and one.figure.high is not None:
            at = one.extra_tolerance_mm
            axes.plot([at, at], [one.figure.low, one.figure.high], color=INK_LIGHT_PAGE, linewidth=1.0)
    axes.set_xlabel("tolerance added to that of each section (mm)")
    axes.set_title(
        f"grey line: in use, {curve.in_use_mm:g} mm", size=SMALL_PT, color=INK_LIGHT_PAGE, loc="left", pad=5
    )
    return finished(figure, name, finding)


def draw_costs(costs: Sequence[CostFigures], name: str, finding: str) -> str:
    """Expected cost of each candidate over the least probability that a label needs."""
    figure, axes = new_axes(3.4, left=0.14, right=0.72)
    ends, texts = [], []
    for one, dash in zip(costs, _DASHES * len(costs), strict=False):
        curve = one.curve
        axes.plot(
            curve.thresholds,
            curve.per_1000,
            color=INK_LIGHT_PAGE,
            linewidth=2.0 if one.chosen else 1.1,
            linestyle=(0, dash),
        )
        best = min(range(len(curve.thresholds)), key=lambda i: abs(curve.thresholds[i] - one.best_threshold))
        axes.plot(
            [curve.thresholds[best]],
            [curve.per_1000[best]],
            marker="v",
            markersize=6,
            color=INK_LIGHT_PAGE,
            zorder=4,
        )
        ends.append(curve.per_1000[-1])
        texts.append(one.candidate.replace("_", " ") + (" (chosen)" if one.chosen else ""))
    top = 1.08 * max((max(one.curve.per_1000) for one in costs), default=1.0)
    axes.set_ylim(0.0, top or 1.0)
    places = spread_apart(ends, 0.075 * (top or 1.0), 0.0, top or 1.0)
    for place, text in zip(places, texts, strict=True):
        axes.text(
            1.02,
            place,
            plain_text(text, 24),
            transform=axes.get_yaxis_transform(),
            size=SMALL_PT,
            color=INK_LIGHT_PAGE,
            va="center",
            parse_math=False,
        )
    axes.set_xlabel("least probability that a label needs")
    axes.set_title("cost per 1,000 indications", size=SMALL_PT, color=INK_LIGHT_PAGE, loc="left", pad=5)
    return finished(figure, name, finding)


def draw_label_errors(
    figures: Sequence[LabelErrorFigures], stated: float | None, name: str, text: str
) -> str:
    """Range of macro-F1 for each share of wrong section labels, as an ``<svg>`` element."""
    drawing, axes = new_axes(2.7)
    axes.set_ylim(0.0, 1.0)
    shares = [100 * one.label_error for one in figures]
    axes.fill_between(
        shares,
        [one.macro_f1_low for one in figures],
        [one.macro_f1_high for one in figures],
        facecolor="none",
        edgecolor=UNKNOWN_GREY,
        hatch="////",
        linewidth=0.0,
    )
    for side in ([one.macro_f1_low for one in figures], [one.macro_f1_high for one in figures]):
        axes.plot(shares, side, color=INK_LIGHT_PAGE, linewidth=1.2, marker="o", markersize=3.5)
    if stated is not None:
        axes.axhline(stated, color=RULE_GREY, linewidth=0.9)
    axes.set_xlabel("share of section labels that are wrong (%)")
    axes.set_title(
        "macro-F1; grey line: as evaluated", size=SMALL_PT, color=INK_LIGHT_PAGE, loc="left", pad=5
    )
    return finished(drawing, name, text)

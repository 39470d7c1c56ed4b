"""The figures of the process page as Vega specifications, built with Altair.

Altair, because its charts are declared and checked in Python, its scripts can be put into a
page whole (`vl-convert`), and what it draws is SVG that prints. The specifications name their
data and hold none: the page's script gives each figure the rows of the chosen filters.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import altair as alt

from seamtell.pipeline.report.palette import FLAW_MARKS, RULE_GREY, words

__all__ = ["FIGURES", "vega_specifications"]

FIGURES = ("mix", "time", "months", "places", "groups", "health")

_INK = "currentColor"
_WIDTH = 700
_SHAPES = {"●": "circle", "▲": "triangle-up", "■": "square", "◆": "diamond", "○": "circle"}
_RATE = "per km of seam"


def vega_specifications(labels: Sequence[str]) -> dict[str, dict[str, Any]]:
    """One compiled Vega specification a figure.

    Parameters
    ----------
    labels : sequence of str
        Classes, in the order of the legend.
    """
    charts = {
        "mix": _mix(labels),
        "time": _time(),
        "months": _months(),
        "places": _places(),
        "groups": _groups(),
        "health": _health(),
    }
    return {name: _quiet(chart).to_dict(format="vega") for name, chart in charts.items()}


def _quiet(chart: alt.LayerChart) -> alt.LayerChart:
    """Thin rules, the ink of the page, no decoration."""
    configured: alt.LayerChart = (
        chart.configure(background="transparent", font="system-ui, sans-serif", aria=False)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=_INK,
            titleColor=_INK,
            tickColor=_INK,
            domainColor=_INK,
            gridColor=RULE_GREY,
            gridOpacity=0.35,
            labelFontSize=12,
            titleFontSize=12,
            titleFontWeight="normal",
            labelLimit=220,
        )
        .configure_legend(labelColor=_INK, titleColor=_INK)
    )
    return configured


def _named(name: str) -> alt.NamedData:
    return alt.NamedData(name)


def _mark_scales(labels: Sequence[str]) -> dict[str, alt.Fill | alt.Stroke | alt.Shape]:
    """Filled marks with an outline in ink, others with one in their own colour."""
    known = [label for label in labels if label in FLAW_MARKS]
    marks = [FLAW_MARKS[label] for label in known]
    names = [words(label) for label in known]

    def scale(of_marks: list[str]) -> alt.Scale:
        return alt.Scale(domain=names, range=of_marks)

    fill = scale([mark.colour if mark.filled else "transparent" for mark in marks])
    stroke = scale([_INK if mark.filled else mark.colour for mark in marks])
    shape = scale([_SHAPES[mark.glyph] for mark in marks])
    return {
        "fill": alt.Fill("name:N", scale=fill, legend=None),
        "stroke": alt.Stroke("name:N", scale=stroke, legend=None),
        "shape": alt.Shape("name:N", scale=shape, legend=None),
    }


def _mix(labels: Sequence[str]) -> alt.LayerChart:
    """Pareto: corrected shares with their intervals, raw shares as ticks, the chosen flaw underlined."""
    base = alt.Chart(_named("mix")).encode(
        y=alt.Y("name:N", sort=None, title=None, scale=alt.Scale(paddingInner=0.4))
    )
    share = alt.X(
        "share:Q",
        title="share of the indications; dot and whisker corrected, tick as labelled",
        axis=alt.Axis(format="%"),
        scale=alt.Scale(domainMin=0),
    )
    band = base.mark_bar(color=RULE_GREY, opacity=0.18, height={"band": 1.0}).encode(
        x=alt.X("zero:Q"), x2="edge:Q"
    )
    whisker = base.mark_rule(color=_INK, strokeWidth=1.6).encode(x="low:Q", x2="high:Q")
    raw = base.mark_tick(color=_INK, thickness=1.4, size=16).encode(x="raw_share:Q")
    dot = base.mark_point(size=110, opacity=1, strokeWidth=0.8).encode(x=share, **_mark_scales(labels))
    return cast(alt.LayerChart, (band + whisker + raw + dot).properties(width=_WIDTH, height=alt.Step(34)))


def _time() -> alt.LayerChart:
    """u-chart of the chosen flaw with its limits, alarms and changes."""
    weeks = alt.Chart(_named("time")).encode(
        x=alt.X("week:T", title="week in which the seams were welded (UTC)", axis=alt.Axis(format="%-d %b"))
    )
    rate = alt.Y("per_km:Q", title=f"flaws {_RATE}", scale=alt.Scale(domainMin=0))
    changes = alt.Chart(_named("changes"))
    span = changes.mark_rect(color=RULE_GREY, opacity=0.22).encode(x="low:T", x2="high:T")
    at = changes.mark_rule(color=_INK, strokeWidth=1.2, strokeDash=[1, 2]).encode(x="week:T")
    limits = [
        weeks.mark_line(color=RULE_GREY, strokeWidth=1, interpolate="step").encode(y=f"{name}:Q")
        for name in ("low", "high")
    ]
    centre = weeks.mark_line(color=RULE_GREY, strokeWidth=0.8, strokeDash=[4, 3]).encode(y="centre:Q")
    line = weeks.mark_line(color=_INK, strokeWidth=1.2).encode(y=rate)
    points = weeks.mark_point(filled=True, color=_INK, size=18, opacity=1).encode(y=rate)
    alarms = (
        weeks.transform_filter("datum.alarm != ''")
        .mark_point(color=_INK, size=110, strokeWidth=1.6)
        .encode(y=rate)
    )
    layers = [span, at, *limits, centre, line, points, alarms]
    return cast(alt.LayerChart, alt.layer(*layers).properties(width=_WIDTH, height=220))


def _months() -> alt.LayerChart:
    """Corrected rate of the chosen flaw by month; ticks as labelled, dashed the whole time."""
    base = alt.Chart(_named("months")).encode(x=alt.X("month:O", title="month", axis=alt.Axis(labelAngle=0)))
    rate = alt.Y("per_km:Q", title=f"flaws {_RATE}", scale=alt.Scale(domainMin=0))
    whole = base.mark_line(color=RULE_GREY, strokeDash=[4, 3], strokeWidth=1.2).encode(y="mean:Q")
    whisker = base.mark_rule(color=_INK, strokeWidth=1.4).encode(y="per_km_low:Q", y2="per_km_high:Q")
    raw = base.mark_tick(color=_INK, thickness=1.4, size=16).encode(y="raw_per_km:Q")
    dot = base.mark_point(filled=True, color=_INK, size=70, opacity=1).encode(y=rate)
    return cast(alt.LayerChart, (whole + whisker + raw + dot).properties(width=_WIDTH, height=180))


def _places() -> alt.LayerChart:
    """Density of the chosen flaw along the seam, against an even one; repeated marks as bands."""
    bars = alt.Chart(_named("places"))
    marks = alt.Chart(_named("marks"))
    band = marks.mark_rect(color=RULE_GREY, opacity=0.25).encode(x="from_mm:Q", x2="to_mm:Q")
    density = bars.mark_rect(color=_INK, opacity=0.75, stroke=None).encode(
        x=alt.X("at:Q", title="position from the start or the end, mm; relative: % of the length"),
        x2="to:Q",
        y=alt.Y("per_km:Q", title=f"flaws {_RATE}", scale=alt.Scale(domainMin=0)),
        y2="zero:Q",
    )
    whisker = bars.mark_rule(color=RULE_GREY, strokeWidth=1).encode(x="middle:Q", y="low:Q", y2="high:Q")
    even = bars.mark_line(color=RULE_GREY, strokeDash=[4, 3], strokeWidth=1.2).encode(
        x="middle:Q", y="mean:Q"
    )
    return cast(alt.LayerChart, (band + density + whisker + even).properties(width=_WIDTH, height=180))


def _groups() -> alt.LayerChart:
    """Rates of the chosen flaw by group, with intervals."""
    base = alt.Chart(_named("groups")).encode(y=alt.Y("group:N", sort=None, title=None))
    rate = alt.X("per_km:Q", title=f"flaws {_RATE}", scale=alt.Scale(domainMin=0))
    whisker = base.mark_rule(color=_INK, strokeWidth=1.4).encode(x="low:Q", x2="high:Q")
    dot = base.mark_point(filled=True, color=_INK, size=70, opacity=1).encode(x=rate)
    stands_out = (
        base.transform_filter("datum.stands_out")
        .mark_point(color=_INK, size=190, strokeWidth=1.4)
        .encode(x=rate)
    )
    return cast(alt.LayerChart, (whisker + dot + stands_out).properties(width=_WIDTH, height=alt.Step(24)))


def _health() -> alt.LayerChart:
    """Reference runs: deviation by line and channel, with the levels of warning and stop."""
    runs = alt.Chart(_named("health")).encode(x=alt.X("at:T", title="run of the reference blank (UTC)"))
    level = alt.Y("deviation_db:Q", title="against expected, dB")
    rules = alt.Chart(_named("levels")).mark_rule(color=RULE_GREY, strokeWidth=1).encode(y="at_db:Q")
    line = runs.mark_line(color=_INK, strokeWidth=1.2).encode(
        y=level,
        strokeDash=alt.StrokeDash(
            "series:N", title=None, legend=alt.Legend(orient="top", symbolStrokeColor=_INK)
        ),
    )
    points = runs.mark_point(filled=True, color=_INK, size=20, opacity=1).encode(y=level)
    return cast(alt.LayerChart, (rules + line + points).properties(width=_WIDTH, height=200))

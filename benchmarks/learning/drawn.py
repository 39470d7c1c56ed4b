"""One figure an experiment: macro-F1 with its interval, with and without simulated flaws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from learning.answering import CANDIDATES, Answer
from learning.cells import NOMINAL, REAL_ONLY, SECTIONS
from learning.summary import Line
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, RULE_GREY

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_experiment"]

_BLUE = "#0072B2"
_LOOK: Mapping[str, dict[str, Any]] = {
    REAL_ONLY: {"color": INK_LIGHT_PAGE, "linestyle": (0, (4, 2)), "marker": "o", "markerfacecolor": "none"},
    NOMINAL: {"color": _BLUE, "linestyle": "solid", "marker": "s"},
}
_FARTHEST = 0.15
"""Differences beyond are off the figure."""
_NAMES = {REAL_ONLY: "real only", NOMINAL: "with physics"}
Ceilings = Mapping[str, tuple[Answer, ...]]


def draw_experiment(name: str, lines: Sequence[Line], ceilings: Ceilings) -> tuple[Figure, str]:
    """Figure of experiment ``a`` to ``d`` against the truth, and its finding in words."""
    from matplotlib.figure import Figure

    lines = [line for line in lines if line.reading == "truth" and line.candidate in CANDIDATES]
    figure = Figure(figsize=(9.2, 3.9 if name != "d" else 4.6))
    axes = figure.subplots(1, len(CANDIDATES), sharey=True)
    for one, candidate in zip(axes, CANDIDATES, strict=True):
        mine = [line for line in lines if line.candidate == candidate]
        if name == "a":
            _curve(one, mine, next(a for a in ceilings[""] if a.candidate == candidate))
        elif name == "d":
            _wrong(one, mine)
        else:
            _bars(
                one,
                mine,
                {key: next(a for a in some if a.candidate == candidate) for key, some in ceilings.items()},
            )
        one.set_title(candidate, size=10, color=INK_LIGHT_PAGE, loc="left")
        _dress(one)
    figure.tight_layout()
    return figure, _finding(lines)


def _curve(axes: Axes, lines: Sequence[Line], ceiling: Answer) -> None:
    for physics, look in _LOOK.items():
        some = sorted((ln for ln in lines if ln.physics == physics), key=lambda ln: ln.sections)
        if not some:
            continue
        beside = 0.06 if physics == NOMINAL else -0.06
        x = [SECTIONS.index(ln.sections) + beside for ln in some]
        _whiskers(axes, x, some, look)
        axes.plot(x, [ln.macro_f1.mean for ln in some], markersize=4, linewidth=1.3, **look)
        named = some[min(len(some), 3 if physics == NOMINAL else 2) - 1]
        axes.annotate(
            _NAMES[physics],
            (SECTIONS.index(named.sections), named.macro_f1.mean),
            (0, 11 if physics == NOMINAL else -13),
            textcoords="offset points",
            size=8.5,
            color=look["color"],
            ha="center",
            va="center",
        )
    axes.axhline(ceiling.by_truth, color=RULE_GREY, linewidth=0.9)
    axes.text(0, ceiling.by_truth, "ceiling", size=8.5, color=INK_LIGHT_PAGE, va="bottom")
    means = [ln.macro_f1.mean for ln in lines]
    axes.set_ylim(min(means) - 0.06, max(*means, ceiling.by_truth) + 0.06)
    axes.set_xticks(range(len(SECTIONS)), [str(number) for number in SECTIONS])
    axes.set_xlabel("real sections of each class", color=INK_LIGHT_PAGE)
    axes.set_ylabel("macro-F1 against the truth", color=INK_LIGHT_PAGE)


def _bars(axes: Axes, lines: Sequence[Line], ceilings: Mapping[str, Answer]) -> None:
    """Rows of dots with whiskers: one row what was left out, three marks in it."""
    kinds = (
        (REAL_ONLY, True, "real only"),
        (NOMINAL, True, "with physics"),
        (NOMINAL, False, "physics alone"),
    )
    left_out = list(dict.fromkeys(line.left_out for line in lines))
    for row, what in enumerate(left_out):
        for place, (physics, real, text) in enumerate(kinds):
            for line in lines:
                if line.left_out == what and line.physics == physics and (line.sections > 0) == real:
                    _dot(
                        axes,
                        line,
                        row + 0.22 * (place - 1),
                        text if row == 0 else "",
                        physics,
                        hollow=not real,
                    )
        ceiling = ceilings[what].by_truth
        axes.plot([ceiling, ceiling], [row - 0.38, row + 0.38], color=RULE_GREY, linewidth=1.2)
        if row == 0:
            axes.text(ceiling, row - 0.4, "ceiling", size=8, color=INK_LIGHT_PAGE, ha="center", va="bottom")
    means = [ln.macro_f1.mean for ln in lines] + [ceilings[what].by_truth for what in left_out]
    axes.set_xlim(min(means) - 0.06, max(means) + 0.06)
    axes.set_yticks(range(len(left_out)), left_out)
    axes.set_ylim(len(left_out) - 0.5, -0.65)
    axes.set_xlabel("macro-F1 against the truth", color=INK_LIGHT_PAGE)


def _wrong(axes: Axes, lines: Sequence[Line]) -> None:
    """Difference to real only of each kind of physics, and the weights that were chosen."""
    lines = [line for line in lines if line.against_real_only is not None]
    kinds = list(dict.fromkeys(line.physics for line in lines))
    numbers = sorted({line.sections for line in lines})
    for line in lines:
        place = kinds.index(line.physics) + 0.26 * (numbers.index(line.sections) - (len(numbers) - 1) / 2)
        difference = line.against_real_only
        if difference is None:
            continue
        weights = [weight for weight in line.weights if weight is not None]
        colour = _BLUE if line.physics == NOMINAL else INK_LIGHT_PAGE
        axes.plot([difference.low, difference.high], [place, place], color=colour, linewidth=1.1)
        axes.plot(
            [difference.mean], [place], "s" if line.physics == NOMINAL else "o", color=colour, markersize=4
        )
        axes.annotate(
            f"n = {line.sections}, weight {np.median(weights):g}",
            (1.0, place),
            xycoords=("axes fraction", "data"),
            size=7.5,
            color=INK_LIGHT_PAGE,
            va="center",
            ha="right",
        )
    axes.axvline(0.0, color=RULE_GREY, linewidth=0.9)
    axes.set_yticks(range(len(kinds)), kinds)
    axes.set_ylim(len(kinds) - 0.5, -0.5)
    ends = [end for ln in lines if (d := ln.against_real_only) is not None for end in (d.low, d.high, d.mean)]
    low, high = (float(np.clip(end, -_FARTHEST, _FARTHEST)) for end in (np.nanmin(ends), np.nanmax(ends)))
    axes.set_xlim(low - 0.01, high + 0.75 * (high - low))
    axes.set_xlabel("macro-F1 less that of real only", color=INK_LIGHT_PAGE)


def _dot(axes: Axes, line: Line, y: float, text: str, physics: str, *, hollow: bool) -> None:
    look = _LOOK[physics]
    interval = line.macro_f1
    axes.plot([interval.low, interval.high], [y, y], color=look["color"], linewidth=1.1)
    face = "none" if hollow or physics == REAL_ONLY else look["color"]
    axes.plot([interval.mean], [y], look["marker"], color=look["color"], markerfacecolor=face, markersize=4.5)
    if text:
        axes.annotate(
            text,
            (interval.mean, y),
            (0, 5),
            textcoords="offset points",
            size=8,
            color=look["color"],
            ha="center",
        )


def _whiskers(axes: Axes, x: Sequence[float], lines: Sequence[Line], look: Mapping[str, Any]) -> None:
    for place, line in zip(x, lines, strict=True):
        axes.plot([place, place], [line.macro_f1.low, line.macro_f1.high], color=look["color"], linewidth=0.9)


def _dress(axes: Axes) -> None:
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INK_LIGHT_PAGE)
    axes.tick_params(colors=INK_LIGHT_PAGE, labelsize=9)


def _finding(lines: Sequence[Line]) -> str:
    paired = [
        ln for ln in lines if ln.against_real_only is not None and ln.physics == NOMINAL and ln.sections
    ]
    said = [
        f"{ln.candidate} {ln.left_out} n = {ln.sections}: {ln.against_real_only.signed()}"
        for ln in paired
        if ln.against_real_only is not None
    ]
    return "Macro-F1 with physics less real only. " + "; ".join(said)

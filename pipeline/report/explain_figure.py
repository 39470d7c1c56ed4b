"""The simulated flaws that come closest to one indication, each beside what was measured.

Small multiples: one column a cause, best first, `specular` above and `scatter` below, the
same measured trace in every column and on one scale along a row. The fit is a thin black
line with the mark of its class; the channels keep their own marks.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from seamtell.features.contracts import Channel
from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.report.explained_words import FIT_LABEL, cause_words, flaw_words, range_words
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, RULE_GREY, flaw_mark, line_mark
from seamtell.pipeline.report.plain_text import plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from seamtell.data_synth.echo_fit import CauseFit
    from seamtell.pipeline.explain import Explanation

__all__ = ["draw_explanation", "finding_sentence"]

_SMALL, _NAME, _TEXT = 8.0, 9.0, 10.0
_LEFT, _RIGHT, _GAP = 0.055, 0.99, 0.014
_TOP, _MIDDLE, _BOTTOM = 0.795, 0.525, 0.275
_MARKS = 7


def finding_sentence(found: Explanation) -> str:
    """What a reader should take from the drawing, in one sentence."""
    best = found.fit.fits[0]
    if found.novel:
        return (
            f"No simulated flaw explains this indication (p = {found.fit.p_value:.3f}); "
            f"the closest is {cause_words(best.cause)}."
        )
    if found.no_flaw_needed:
        return "A change of gain alone explains this indication: no flaw is needed."
    sentence = f"Fits best: {cause_words(best.cause)}, {flaw_words(best.flaw)}."
    others = [cause_words(fit.cause) for fit in found.possible if fit is not best]
    return f"{sentence} Almost as well: {', '.join(others)}." if others else sentence


def draw_explanation(found: Explanation, *, size_in: tuple[float, float] = (12.4, 6.4)) -> Figure:
    """Draw the best simulated flaw of every cause over both channels.

    Returns
    -------
    matplotlib.figure.Figure
        Not tied to any window system; see ``figure_files`` for SVG and PNG.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=size_in)
    _head(figure, found)
    fits = found.fit.fits
    width = (_RIGHT - _LEFT + _GAP) / len(fits)
    for column, fit in enumerate(fits):
        left = _LEFT + column * width
        for row, (low, high) in enumerate(((_MIDDLE + 0.012, _TOP), (_BOTTOM, _MIDDLE - 0.012))):
            axes = figure.add_axes((left, low, width - _GAP, high - low))
            _panel(axes, found, fit, row, first=column == 0)
        _column_words(figure, found, fit, left, width - _GAP, size_in[0])
    note = f"{FIT_LABEL[0].upper()}{FIT_LABEL[1:]}; {CAUTION}"
    figure.text(_LEFT, 0.018, note, size=_SMALL, color=INK_LIGHT_PAGE, parse_math=False)
    return figure


def _head(figure: Figure, found: Explanation) -> None:
    title = f"seam {found.seam_id}   indication {found.indication.indication}   recipe {found.recipe}"
    words: dict[str, Any] = {"color": INK_LIGHT_PAGE, "parse_math": False, "ha": "left", "va": "top"}
    figure.text(_LEFT, 0.985, plain_text(title, 110), size=11, **words)
    figure.text(_LEFT, 0.942, plain_text(finding_sentence(found), 170), size=_TEXT, weight="bold", **words)
    key = "thick: measured; thin with marks: fit; dotted: baseline; shaded: indication; one scale a row"
    figure.text(_LEFT, 0.903, key, size=_SMALL, **words)
    figure.text(_RIGHT, 0.985, FIT_LABEL, size=_TEXT, style="italic", **{**words, "ha": "right"})


def _panel(axes: Axes, found: Explanation, fit: CauseFit, row: int, *, first: bool) -> None:
    channel = tuple(Channel)[row]
    at, baseline = found.window.positions_mm, found.baseline_pct[row]
    measured = baseline + found.window.excess_pct[row]
    top = 1.12 * float(measured.max())
    mark, shape = line_mark(channel), flaw_mark(fit.cause.label)
    axes.axvspan(
        found.indication.start_mm, found.indication.end_mm, color=INK_LIGHT_PAGE, alpha=0.07, linewidth=0
    )
    style: Any = (0, mark.dash) if mark.dash else "solid"
    axes.plot(at, baseline, color=mark.colour, linewidth=0.8, linestyle=":")
    axes.plot(at, measured, color=mark.colour, linewidth=mark.width + 0.4, linestyle=style)
    axes.plot(
        at,
        baseline + fit.excess_pct[row],
        color=INK_LIGHT_PAGE,
        linewidth=0.7,
        marker=shape.marker,
        markersize=4.5,
        markevery=max(1, len(at) // _MARKS),
        markerfacecolor=shape.colour if shape.filled else "none",
        markeredgecolor=INK_LIGHT_PAGE,
        markeredgewidth=0.6,
    )
    axes.set_xlim(float(at[0]), float(at[-1]))
    axes.set_ylim(0, top)
    _dress(axes, channel, mark.colour, first=first, bottom=row == 1)


def _dress(axes: Axes, channel: Channel, colour: str, *, first: bool, bottom: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(RULE_GREY)
    axes.xaxis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.tick_params(colors=INK_LIGHT_PAGE, labelsize=_SMALL, labelleft=first, labelbottom=bottom)
    axes.xaxis.set_major_formatter("{x:g}")
    if first:
        axes.set_ylabel(f"{channel.value} (% FSH)", color=colour, size=_SMALL, weight="bold")
    if first and bottom:
        axes.set_xlabel("position along the seam (mm)", color=INK_LIGHT_PAGE, size=_SMALL, loc="left")


def _column_words(
    figure: Figure, found: Explanation, fit: CauseFit, left: float, width: float, inches: float
) -> None:
    words: dict[str, Any] = {"color": INK_LIGHT_PAGE, "parse_math": False, "ha": "left"}
    shape = flaw_mark(fit.cause.label)
    figure.add_artist(_mark(left + 0.006, 0.845, shape.marker, shape.colour, filled=shape.filled))
    figure.text(left + 0.016, 0.845, cause_words(fit.cause), size=_NAME, weight="bold", va="center", **words)
    close = fit in found.possible
    told = "fits" if close else "does not fit"
    figure.text(left, 0.811, f"misfit {fit.misfit:.2f}: {told}", size=_SMALL, va="center", **words)
    lines = [flaw_words(fit.flaw)]
    if close:
        lines += ["almost as well:", *range_words(fit.ranges).split("; ")]
    characters = int(width * inches / 0.064)
    wrapped = [line for text in lines for line in textwrap.wrap(text, characters, subsequent_indent="  ")]
    figure.text(left, 0.205, "\n".join(wrapped), size=_SMALL, va="top", linespacing=1.35, **words)


def _mark(x: float, y: float, marker: str, colour: str, *, filled: bool) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(
        [x],
        [y],
        marker=marker,
        markersize=6.5,
        markerfacecolor=colour if filled else "none",
        markeredgecolor=INK_LIGHT_PAGE,
        markeredgewidth=0.7,
        linestyle="none",
    )

"""The house style of a dossier's figures, and the files that they are written to.

Drawn small, so that their text stays readable on a narrow page, and repeated at one
scale. Neutral ink is ``currentColor``; shape, line style and hatching carry the meaning.
"""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING, Any

from seamtell.pipeline.report.figure_files import figure_svg
from seamtell.pipeline.report.palette import (
    CHANNEL_MARKS,
    INK_DARK_PAGE,
    INK_LIGHT_PAGE,
    PAPER_DARK_PAGE,
    PAPER_LIGHT_PAGE,
    RULE_GREY,
    UNKNOWN_GREY,
    flaw_mark,
)
from seamtell.pipeline.report.plain_text import plain_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["SMALL_PT", "WIDTH_IN", "class_marker", "finished", "new_axes", "svg_file"]

WIDTH_IN = 5.0
"""At 72 points an inch as wide as the narrowest page, so that text keeps its size there."""
SMALL_PT = 9.5

_SPECULAR = CHANNEL_MARKS["specular"]
_SCATTER = CHANNEL_MARKS["scatter"]
# The classes that hand-drawn traces carry; a page gives them in its own style sheet.
_FILE_STYLE = (
    f"svg{{color:{INK_LIGHT_PAGE};background:{PAPER_LIGHT_PAGE}}}"
    ".drawn{font:11px system-ui,'DejaVu Sans',sans-serif}.drawn text{fill:currentColor}"
    ".drawn path{fill:none;stroke:currentColor;stroke-width:.8}"
    f".drawn path.specular{{stroke:{_SPECULAR.colour};stroke-width:{_SPECULAR.width}}}"
    f".drawn path.scatter{{stroke-width:{_SCATTER.width};stroke-dasharray:4 2}}"
    ".drawn path.baseline{stroke-width:.8;stroke-dasharray:1 2}"
    f".drawn path.limit{{stroke:{RULE_GREY}}}"
    ".drawn rect.band{fill:currentColor;fill-opacity:.1}"
    ".drawn rect.beyond{stroke:currentColor}"
    ".drawn .section{fill:currentColor}.drawn path.section{stroke:none}"
    ".drawn .hatch{fill:url(#hatch)}.drawn text.name{font-weight:600}"
    f"@media (prefers-color-scheme: dark){{svg{{color:{INK_DARK_PAGE};background:{PAPER_DARK_PAGE}}}}}"
)
_HATCH = (
    '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
    f'patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="5" stroke="{UNKNOWN_GREY}" '
    'stroke-width="1.4"/></pattern></defs>'
)


def new_axes(
    height_in: float, *, left: float = 0.11, right: float = 0.97, bottom_in: float = 0.55, top_in: float = 0.3
) -> tuple[Figure, Axes]:
    """A figure of the usual width with one pair of axes.

    Parameters
    ----------
    height_in : float
    left, right : float
        Ends of the axes as shares of the width.
    bottom_in, top_in : float
        Room below and above the axes, inches.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, height_in))
    height = (height_in - bottom_in - top_in) / height_in
    axes = figure.add_axes((left, bottom_in / height_in, right - left, height))
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INK_LIGHT_PAGE)
    axes.tick_params(colors=INK_LIGHT_PAGE, labelsize=SMALL_PT)
    axes.xaxis.label.set_color(INK_LIGHT_PAGE)
    axes.xaxis.label.set_fontsize(SMALL_PT + 0.5)
    return figure, axes


def class_marker(label: str) -> dict[str, Any]:
    """Matplotlib options that draw the mark of a class: its shape, and its colour with a dark edge."""
    mark = flaw_mark(label)
    return {
        "marker": mark.marker,
        "markerfacecolor": mark.colour if mark.filled else "none",
        "markeredgecolor": INK_LIGHT_PAGE,
        "markeredgewidth": 0.7,
    }


def finished(figure: Figure, name: str, finding: str) -> str:
    """The figure as one ``<svg>`` element for use inside a page; its ids begin with `name`."""
    return figure_svg(figure, prefix=name, finding=plain_text(finding, 400))


def svg_file(svg: str, title: str) -> str:
    """A drawing of a page as a file that stands alone, in its own light and dark ink.

    Parameters
    ----------
    svg : str
        One ``<svg>`` element as `finished` or the drawing of traces makes it.
    title : str
        Named by viewers.

    Examples
    --------
    >>> text = svg_file('<svg viewBox="0 0 200 100" role="img"><path d="M0 0L9 9"/></svg>', "a & b")
    >>> "<title>a &amp; b</title>" in text and 'width="200" height="100"' in text
    True
    """
    head, body = svg.split(">", 1)
    drawn = "matplotlib" not in svg and 'xmlns="' not in head
    if drawn:
        head += ' xmlns="http://www.w3.org/2000/svg" class="drawn"'
    size = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', head)
    if size:
        head += f' width="{size[1]}" height="{size[2]}"'
    # For viewers that know no style sheet.
    head += f' color="{INK_LIGHT_PAGE}"'
    hatch = _HATCH if drawn else ""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head}><title>{escape(plain_text(title, 200))}</title>'
        f"<style>{_FILE_STYLE}</style>{hatch}{body}\n"
    )

"""What the Matplotlib figures of this folder share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, line_mark

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["BLUE", "INK", "SMALL", "channel_line", "dress", "title"]

INK = INK_LIGHT_PAGE
BLUE = line_mark("specular").colour
SMALL = 8.0


def dress(axes: Axes) -> None:
    """No box, no paper, everything in the ink of the page."""
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(INK)
    axes.tick_params(colors=INK, labelsize=SMALL, which="both")
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set_color(INK)
        label.set_size(9.0)


def title(axes: Axes, text: str) -> None:
    """Write `text` above the left end."""
    axes.set_title(text, loc="left", size=9.5, color=INK)


def channel_line(channel: str) -> dict[str, Any]:
    """Colour, dash and width of a channel."""
    mark = line_mark(channel)
    style: Any = (0, mark.dash) if mark.dash else "solid"
    return {"color": mark.colour, "linewidth": mark.width, "linestyle": style}

"""The lane under a drawn trace that holds the sections: a triangle, its tolerance, its name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seamtell.pipeline.report.label_places import stacked_rows
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.report.section_marks import SectionMark, section_marks

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["LaneMark", "draw_lane", "lane_height", "lane_marks"]

_ROWS = 3
_FIRST_ROW, _NEXT_ROW = 0.1, 0.07
_MARGIN_CHARACTERS = 20
"""Text may run on under the names at the right of the trace, by this much."""


@dataclass(frozen=True)
class LaneMark:
    """One section of the lane.

    Parameters
    ----------
    section : SectionMark
    text : str
    row : int
        Row of the text, 0 the lowest; a text never lies on that of a neighbour
        while there are rows left.
    leftward : bool
        The text stands left of the triangle, for want of room at its right.
    indent_mm : float
        From the triangle to its text.
    """

    section: SectionMark
    text: str
    row: int
    leftward: bool
    indent_mm: float


def lane_marks(
    sections: pd.DataFrame | None, seam_id: str, window_mm: tuple[float, float], per_character_mm: float
) -> tuple[LaneMark, ...]:
    """Sections of the seam inside the window, each with a place for its name, in order of position.

    Parameters
    ----------
    sections : DataFrame or None
    seam_id : str
    window_mm : (float, float)
        Stretch that is drawn.
    per_character_mm : float
        Width of a character of the text, in mm of seam.
    """
    low, high = window_mm
    shown = [mark for mark in section_marks(sections, seam_id) if low <= mark.position_mm <= high]
    texts = [plain_text(f"section {mark.section_id}: {mark.truth}", 60) for mark in shown]
    indent = 1.4 * per_character_mm
    widths = [len(text) * per_character_mm + indent for text in texts]
    end = high + _MARGIN_CHARACTERS * per_character_mm
    leftward = [mark.position_mm + width > end for mark, width in zip(shown, widths, strict=True)]
    # The triangle takes room on either side of its tip.
    starts = [
        mark.position_mm - (width if left else indent)
        for mark, width, left in zip(shown, widths, leftward, strict=True)
    ]
    order = sorted(range(len(shown)), key=lambda i: starts[i])
    placed = stacked_rows([starts[i] for i in order], [widths[i] + indent for i in order], _ROWS)
    rows = dict(zip(order, placed, strict=True))
    return tuple(LaneMark(shown[i], texts[i], rows[i], leftward[i], indent) for i in range(len(shown)))


def lane_height(marks: tuple[LaneMark, ...]) -> float:
    """Height of the lane as a share of the height of the trace above it."""
    return _FIRST_ROW + _NEXT_ROW * max((mark.row for mark in marks), default=0)


def draw_lane(axes: Axes, marks: tuple[LaneMark, ...], top: float, size_pt: float) -> None:
    """Draw `marks` between the position axis and zero; `top` is the upper end of the amplitude axis."""
    level = -lane_height(marks) * top
    for mark in marks:
        at, tolerance = mark.section.position_mm, mark.section.tolerance_mm
        shared: dict[str, Any] = {"color": INK_LIGHT_PAGE, "clip_on": False, "zorder": 5}
        axes.plot(
            [at - tolerance, at + tolerance], [level, level], linewidth=3, solid_capstyle="butt", **shared
        )
        axes.plot([at], [level + 0.035 * top], marker="v", markersize=8, **shared)
        axes.text(
            at - mark.indent_mm if mark.leftward else at + mark.indent_mm,
            level + (0.02 + _NEXT_ROW * mark.row) * top,
            mark.text,
            size=size_pt,
            color=INK_LIGHT_PAGE,
            ha="right" if mark.leftward else "left",
            va="bottom",
            zorder=5,
            parse_math=False,
        )

"""The vocabulary of marks: one look for every figure and page.

Shape, line style, hatching and position carry the meaning; colour only helps, so
that a black and white print says the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = [
    "CHANNEL_MARKS",
    "FLAW_MARKS",
    "INK_DARK_PAGE",
    "INK_LIGHT_PAGE",
    "PAPER_DARK_PAGE",
    "PAPER_LIGHT_PAGE",
    "RULE_GREY",
    "UNKNOWN_GREY",
    "FlawMark",
    "LineMark",
    "flaw_mark",
    "line_mark",
    "words",
]

INK_LIGHT_PAGE = "#222222"
INK_DARK_PAGE = "#D0D0D0"
PAPER_LIGHT_PAGE = "#FFFFFF"
PAPER_DARK_PAGE = "#16181B"
RULE_GREY = "#808080"
"""Limits and rules: 3:1 or better on both papers."""
UNKNOWN_GREY = "#8A8A8A"
"""Hatching of what is not known: abstained, missed, never cut, too few."""


@dataclass(frozen=True)
class LineMark:
    """How a channel is drawn.

    Parameters
    ----------
    colour : str
        On a light page, ``#RRGGBB``.
    neutral : bool
        Whether the line takes the ink of the page (dark on light, light on dark).
    dash : tuple of float
        Dash and gap in line units; empty for a solid line.
    width : float
        In points.
    """

    colour: str
    neutral: bool
    dash: tuple[float, ...]
    width: float


@dataclass(frozen=True)
class FlawMark:
    """How a flaw class is marked: always with its name beside the mark at first use.

    Parameters
    ----------
    glyph : str
        One character for text and pages.
    marker : str
        Matplotlib marker of the same shape.
    colour : str
        ``#RRGGBB``.
    filled : bool
        False for an outline.
    """

    glyph: str
    marker: str
    colour: str
    filled: bool = True


CHANNEL_MARKS: Mapping[str, LineMark] = MappingProxyType(
    {
        "specular": LineMark("#0072B2", neutral=False, dash=(), width=1.4),
        "scatter": LineMark(INK_LIGHT_PAGE, neutral=True, dash=(4.0, 2.0), width=1.2),
    }
)
_FURTHER_CHANNEL = LineMark(RULE_GREY, neutral=False, dash=(6.0, 2.0, 1.0, 2.0), width=0.9)

FLAW_MARKS: Mapping[str, FlawMark] = MappingProxyType(
    {
        "pinhole": FlawMark("●", "o", "#C8102E"),
        "edge_notch": FlawMark("▲", "^", "#7FC8F0"),
        "lack_of_fusion": FlawMark("■", "s", "#5A189A"),
        "mismatch": FlawMark("◆", "D", "#F0B400"),
        "sound": FlawMark("○", "o", "#8A8A8A", filled=False),
    }
)
_UNCLASSIFIED = FlawMark("▨", "X", UNKNOWN_GREY, filled=False)


def line_mark(channel: str) -> LineMark:
    """Mark of `channel`; further channels of a trace share one thin dash-dotted grey line."""
    return CHANNEL_MARKS.get(channel, _FURTHER_CHANNEL)


def flaw_mark(label: str) -> FlawMark:
    """Mark of a flaw class; anything that is no flaw class gets the hatched grey of the unknown."""
    return FLAW_MARKS.get(label, _UNCLASSIFIED)


def words(label: str) -> str:
    """Name of a label as people read it.

    Examples
    --------
    >>> words("lack_of_fusion")
    'lack of fusion'
    """
    return label.replace("_", " ")

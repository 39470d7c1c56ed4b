"""Writing small SVG drawings by hand: compact, deterministic, coloured by the page.

Matplotlib draws the single seam; a page with hundreds of small traces would be slow
and heavy that way. Colours and line styles are CSS classes of the page's style, so
that light, dark and print each show them in their own ink.
"""

from __future__ import annotations

from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.report.plain_text import plain_text

__all__ = ["Canvas", "thin_for_width"]


def _number(value: float) -> str:
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


class Canvas:
    """An SVG drawing of fixed aspect, in CSS pixels from the top left corner.

    Parameters
    ----------
    width, height : float
        Size of the view box, in pixels.
    finding : str
        Alternative text: what a reader should take from the drawing.
    above : float
        Pixels more above the top left corner, whose places are negative.

    Examples
    --------
    >>> canvas = Canvas(20, 10, "a rule & nothing else")
    >>> canvas.line(0, 5, 20, 5, "limit")
    >>> print(canvas.svg())
    <svg viewBox="0 0 20 10" role="img" aria-label="a rule &amp; nothing else"><path class="limit"
    d="M0 5L20 5"/></svg>
    """

    def __init__(self, width: float, height: float, finding: str, above: float = 0.0) -> None:
        self.width = width
        self.height = height
        self._above = above
        self._finding = plain_text(finding, 400)
        self._parts: list[str] = []

    def line(self, x1: float, y1: float, x2: float, y2: float, css: str) -> None:
        """Draw a straight line."""
        self._parts.append(
            f'<path class="{css}" d="M{_number(x1)} {_number(y1)}L{_number(x2)} {_number(y2)}"/>'
        )

    def path(self, x: NDArray[np.float64], y: NDArray[np.float64], css: str) -> None:
        """Draw a line through points; `x` and `y` of shape (n,)."""
        if len(x) == 0:
            return
        points = "L".join(f"{_number(a)} {_number(b)}" for a, b in zip(x, y, strict=True))
        self._parts.append(f'<path class="{css}" d="M{points}"/>')

    def rect(self, x: float, y: float, width: float, height: float, css: str) -> None:
        """Draw a rectangle."""
        self._parts.append(
            f'<rect class="{css}" x="{_number(x)}" y="{_number(y)}" '
            f'width="{_number(max(width, 0.0))}" height="{_number(max(height, 0.0))}"/>'
        )

    def triangle_down(self, x: float, y: float, size: float, css: str) -> None:
        """Draw a triangle whose tip points down to (`x`, `y`)."""
        top, left, right = _number(y - size), _number(x - size * 0.6), _number(x + size * 0.6)
        self._parts.append(f'<path class="{css}" d="M{left} {top}H{right}L{_number(x)} {_number(y)}z"/>')

    def circle(self, x: float, y: float, radius: float, css: str) -> None:
        """Draw a circle."""
        self._parts.append(
            f'<circle class="{css}" cx="{_number(x)}" cy="{_number(y)}" r="{_number(radius)}"/>'
        )

    def text(self, x: float, y: float, text: object, css: str = "", anchor: str = "start") -> None:
        """Write `text` with its base line at `y`; whatever it holds stays text."""
        style = f' class="{css}"' if css else ""
        place = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(
            f'<text{style} x="{_number(x)}" y="{_number(y)}"{place}>{escape(plain_text(text))}</text>'
        )

    def svg(self) -> str:
        """The drawing as one ``<svg>`` element for use inside a page."""
        return (
            f'<svg viewBox="0 {_number(0.0 - self._above)} {_number(self.width)} '
            f'{_number(self.height + self._above)}" role="img" '
            f'aria-label="{escape(self._finding)}">{"".join(self._parts)}</svg>'
        )


def thin_for_width(
    x: NDArray[np.float64], y: NDArray[np.float64], columns: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points of a trace that a drawing `columns` wide can show: lowest and highest of each column.

    No peak is lost, whatever the number of samples.

    Parameters
    ----------
    x, y : float64 array of shape (n,)
        Positions (ascending) and amplitudes.
    columns : int
        Columns of the drawing; at most two points are kept in each.

    Returns
    -------
    x, y : float64 array of shape (m,)
        ``m <= 2 * columns + 2``; a subset of the points, in order.
    """
    n = len(x)
    if n <= 2 * columns:
        return x, y
    edges = np.linspace(0, n, columns + 1).astype(np.int64)
    keep = {0, n - 1}
    for first, last in pairwise(edges):
        keep.add(int(first + np.argmin(y[first:last])))
        keep.add(int(first + np.argmax(y[first:last])))
    chosen = np.array(sorted(keep))
    return x[chosen], y[chosen]

"""Matplotlib figures as SVG and PNG: the same bytes for the same figure, readable on any page."""

from __future__ import annotations

import io
import re
import warnings
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from seamtell.pipeline.report.palette import (
    INK_DARK_PAGE,
    INK_LIGHT_PAGE,
    PAPER_DARK_PAGE,
    PAPER_LIGHT_PAGE,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["figure_png", "figure_svg"]

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_HREF = f"{{{_XLINK}}}href"
_OWN_STYLE = (
    f"svg{{color:{INK_LIGHT_PAGE};background:{PAPER_LIGHT_PAGE}}}"
    f"@media (prefers-color-scheme: dark){{svg{{color:{INK_DARK_PAGE};background:{PAPER_DARK_PAGE}}}}}"
)
_FONTS = "system-ui, 'DejaVu Sans', sans-serif"


def _saved(figure: Figure, kind: str, **options: Any) -> bytes:
    import matplotlib as mpl

    buffer = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "seamtell", "svg.fonttype": "none"}), warnings.catch_warnings():
        # A seam id may hold characters that the drawing font lacks; a box is drawn then.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(buffer, format=kind, **options)
    return buffer.getvalue()


def figure_png(figure: Figure, dpi: int = 150) -> bytes:
    """The figure as PNG on white paper; no date or version inside."""
    return _saved(figure, "png", dpi=dpi, facecolor=PAPER_LIGHT_PAGE, metadata={"Software": None})


def figure_svg(figure: Figure, *, prefix: str = "fig", finding: str = "", standalone: bool = False) -> str:
    """The figure as one ``<svg>`` element with text as text and neutral ink as ``currentColor``.

    Parameters
    ----------
    figure : Figure
    prefix : str
        Put before every id, so that several drawings live on one page.
    finding : str
        Alternative text: what a reader should take from the drawing.
    standalone : bool
        For a file of its own: adds an XML declaration and light and dark paper.
    """
    metadata = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    text = _saved(figure, "svg", transparent=True, metadata=metadata).decode("utf-8")
    # Matplotlib's own output, made a line above: no outside XML is parsed here.
    root = ElementTree.fromstring(text)
    for element in root.iter():
        _rewrite(element, prefix)
    _drop_global_style(root)
    root.set("role", "img")
    if finding:
        root.set("aria-label", finding)
    if standalone:
        style = ElementTree.Element(f"{{{_SVG}}}style")
        style.text = _OWN_STYLE
        root.insert(0, style)
        # For viewers that know no style sheet.
        root.set("color", INK_LIGHT_PAGE)
    else:
        # The page decides the width; the view box keeps the shape.
        root.attrib.pop("width", None)
        root.attrib.pop("height", None)
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _XLINK)
    drawn = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{drawn}\n' if standalone else drawn


def _drop_global_style(root: ElementTree.Element) -> None:
    """Move Matplotlib's style for all elements of a page to this drawing alone."""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{{{_SVG}}}style":
                parent.remove(child)
    root.set("style", "stroke-linejoin: round; stroke-linecap: butt")


def _rewrite(element: ElementTree.Element, prefix: str) -> None:
    for name, value in element.attrib.items():
        if name == "id":
            value = f"{prefix}-{value}"
        elif name == _HREF and value.startswith("#"):
            value = f"#{prefix}-{value[1:]}"
        else:
            value = value.replace("url(#", f"url(#{prefix}-")
            value = re.sub(INK_LIGHT_PAGE, "currentColor", value, flags=re.IGNORECASE)
            value = re.sub(r"font-family: [^;]*", f"font-family: {_FONTS}", value)
        element.set(name, value)

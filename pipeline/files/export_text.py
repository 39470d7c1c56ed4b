"""Text from outside that goes into a file which a spreadsheet may open."""

from __future__ import annotations

__all__ = ["spreadsheet_safe"]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def spreadsheet_safe(text: str) -> str:
    """Make a cell of an exported CSV that no spreadsheet runs as a formula.

    A cell that begins like a formula gets a leading apostrophe; control
    characters become spaces. Numbers do not pass through here.

    Examples
    --------
    >>> spreadsheet_safe("=1+1")
    "'=1+1"
    >>> spreadsheet_safe("S-0001")
    'S-0001'
    """
    guarded = f"'{text}" if text.lstrip(" ").startswith(_FORMULA_STARTS) else text
    return "".join(c if c.isprintable() else " " for c in guarded)

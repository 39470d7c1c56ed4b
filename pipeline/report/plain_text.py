"""Text that comes from outside (seam ids, notes, labels) made safe to draw."""

from __future__ import annotations

import re

__all__ = ["plain_text", "safe_slug"]

_LONGEST = 80


def plain_text(value: object, longest: int = _LONGEST) -> str:
    r"""Text without control or direction characters, cut to `longest` characters.

    Control characters are not allowed in SVG at all, and characters that turn the
    writing direction could make one id read as another.

    Examples
    --------
    >>> plain_text("seam\x00 7")
    'seam� 7'
    """
    text = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in str(value))
    return text if len(text) <= longest else text[: longest - 1] + "…"


def safe_slug(text: str, longest: int = 40) -> str:
    """Part of a file name made of `text`: only ``a-z A-Z 0-9 - _``, never empty, never hidden.

    Two texts may give one slug; add something unique where that matters.

    Examples
    --------
    >>> safe_slug("../../etc/passwd")
    'etc-passwd'
    >>> safe_slug("<b>")
    'b'
    >>> safe_slug("…")
    'seam'
    """
    slug = re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-")[:longest].strip("-")
    return slug or "seam"

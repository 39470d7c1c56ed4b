"""JSON of which equal content has equal bytes."""

from __future__ import annotations

import json
from typing import Any

__all__ = ["canonical_json"]


def canonical_json(document: Any) -> bytes:
    r"""Return sorted, ASCII-only JSON; floats in the shortest form that reads back to the same number.

    Raises
    ------
    ValueError
        A number is not finite.

    Examples
    --------
    >>> canonical_json({"b": 0.1, "a": 1})
    b'{\n "a": 1,\n "b": 0.1\n}\n'
    """
    return (json.dumps(document, sort_keys=True, indent=1, allow_nan=False) + "\n").encode("ascii")

"""Where each descriptor stands in a row, taken from the registry so that the two cannot drift apart.

Of a figure of both channels the place is that of specular; scatter stands next to it.
"""

from __future__ import annotations

from seamtell.features.descriptors.registry import names

__all__ = ["KNOWN", "place", "place_of_both"]

KNOWN: set[str] = set()
"""Descriptors that the kernel computes; a test holds that these are those of the registry."""


def place(name: str) -> int:
    """Column of a descriptor of the whole indication."""
    KNOWN.add(name)
    return names().index(name)


def place_of_both(name: str) -> int:
    """Column of ``specular_NAME``; that of ``scatter_NAME`` is the next.

    Raises
    ------
    ValueError
        The registry has no such pair side by side.
    """
    at = place(f"specular_{name}")
    if place(f"scatter_{name}") != at + 1:
        raise ValueError(f"scatter_{name} does not follow specular_{name} in the registry")
    return at

"""The version of the installed software."""

from __future__ import annotations

from importlib.metadata import version

__all__ = ["software_version"]


def software_version() -> str:
    """Version of the installed distribution, for example ``0.1.0``."""
    return version("seamtell")

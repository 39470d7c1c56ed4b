"""Lines that drift has suspended."""

from __future__ import annotations

from datetime import datetime

from seamtell.pipeline.workspace import Workspace

__all__ = ["drift_suspended"]


def drift_suspended(ws: Workspace) -> dict[str, datetime]:  # noqa: ARG001
    """From when each line is suspended."""
    return {}

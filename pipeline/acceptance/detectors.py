"""What counts as a hit, and over which size of each flaw it is told."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from seamtell.features.contracts import Flaw

__all__ = ["SIZES_OF", "Detector", "FlawSize"]


class Detector(StrEnum):
    """Who detects."""

    SPECULAR = "specular"
    """An indication on that channel at the section."""
    SCATTER = "scatter"
    EITHER = "either"
    """An indication on any channel."""
    LIMIT_RULE = "limit_rule"
    """A limit is exceeded at the section."""

    @property
    def words(self) -> str:
        """The hit in words."""
        return {
            Detector.SPECULAR: "an indication on the specular channel",
            Detector.SCATTER: "an indication on the scatter channel",
            Detector.EITHER: "an indication on either channel",
            Detector.LIMIT_RULE: "a limit exceeded",
        }[self]


class FlawSize(StrEnum):
    """A size that the section measures."""

    LENGTH = "length_mm"
    DEPTH = "depth_mm"
    WIDTH = "width_mm"


SIZES_OF: Mapping[Flaw, tuple[FlawSize, ...]] = {
    Flaw.PINHOLE: (FlawSize.WIDTH,),
    Flaw.EDGE_NOTCH: (FlawSize.DEPTH,),
    Flaw.LACK_OF_FUSION: (FlawSize.DEPTH, FlawSize.LENGTH),
    Flaw.MISMATCH: (FlawSize.DEPTH,),
}
"""The sizes that decide whether a flaw of a class shows.

The width of a pinhole is its diameter and the depth of a mismatch is the step
between the faces. A lack of fusion shows by how deep and by how long it is.
"""

"""How large a shop the demo invents; the one place of its defaults, light enough for ``--help``."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DemoPlan"]


@dataclass(frozen=True)
class DemoPlan:
    """How large a shop to invent.

    Parameters
    ----------
    ceiling_sections : int
        Simulated sections for the ceiling; 0 leaves it out.
    implanted_per_class : int
        Flaws of each class put into recorded seams, for the first model and beside the sections.
    cuts : int
        Sections to plan next.
    workers : int
        Processes for describing and for the ceiling; no figure depends on it.
    """

    seams: int = 3600
    sections: int = 900
    seed: int = 11
    ceiling_sections: int = 10_000
    implanted_per_class: int = 200
    cuts: int = 20
    workers: int = 2
